"""Device identifiers in the check: read without the heavy library, in every spelling that a scanner sends."""

from __future__ import annotations

import subprocess
import sys
from datetime import date

import pytest
from scenes import Scene, access, fires

from lda_notes.check.rules.supply_labels import _in_brackets
from lda_notes.knowledge.supplies import DeviceIdentifier, parse

TODAY = date(2031, 4, 2)
GOOD = "(01)09506000117843(11)300101(17)331231(10)1234AB(21)5678CD"


@pytest.mark.parametrize(
    ("text", "read"),
    [
        (GOOD, GOOD),
        ("]d2" + GOOD, GOOD),
        ("01095060001178431130010117331231101234AB\x1d215678CD", GOOD),
        ("]d201095060001178431130010117331231101234AB\x1d215678CD", GOOD),
        ("0109506000117843215678CD\x1d17331231", "(01)09506000117843(21)5678CD(17)331231"),
        # A part that supplies rarely carry is left out; what stands before it is still read.
        ("(01)09506000117843(30)5(17)331231", "(01)09506000117843(17)331231"),
        ("0109506000117843305", "(01)09506000117843"),
        # Other issuers, and what is no identifier at all, go to the reader as they are.
        ("+A123BJC5D6E71G", "+A123BJC5D6E71G"),
        ("09506000117843", "09506000117843"),
        ("", ""),
        ("()", "()"),
        ("scanner broken", "scanner broken"),
    ],
)
def test_the_parts_of_a_label_in_brackets(text: str, read: str) -> None:
    assert _in_brackets(text) == read


@pytest.mark.parametrize("text", [GOOD, "010950600011784317331231101234AB\x1d215678CD"])
def test_it_reads_what_the_library_reads(text: str) -> None:
    light, full = parse(_in_brackets(text), TODAY), parse(text, TODAY)
    assert isinstance(light, DeviceIdentifier) and isinstance(full, DeviceIdentifier)
    assert (light.device, light.lot, light.serial, light.expires) == (full.device, full.lot, full.serial, full.expires)


def test_a_raw_scan_is_judged_whole() -> None:
    wrong = "010950600011784417331231101234AB"
    expired = "010950600011784317310401101234AB"
    assert fires("device-identifier-unreadable", Scene((access(needle={"udi": wrong}),)))
    assert fires("expired-by-identifier", Scene((access(needle={"udi": expired}),)))
    assert fires("label-contradicts-identifier", Scene((access(needle={"udi": expired, "lot": "OTHER"}),)))
    supply = {"name": "tape", "udi": expired, "lot": "1234AB"}
    assert fires("expired-by-identifier", Scene((access(supplies=[supply]),)))
    assert not fires("label-contradicts-identifier", Scene((access(supplies=[supply]),)))


def test_a_check_does_not_load_the_heavy_library() -> None:
    code = f"""
import sys
sys.path[:0] = {[p for p in sys.path if p.endswith("rules")]!r}
from scenes import Scene, access, fires
for udi in ("0109506000117844173312311012AB", "(01)09506000117843(30)5", "+A123BJC5D6E71G", "=/A9999XYZ100T0944"):
    fires("device-identifier-unreadable", Scene((access(needle={{"udi": udi}}),)))
print(sorted(name for name in sys.modules if name.split(".")[0] == "biip"))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")
