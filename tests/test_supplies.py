"""Supplies: what cannot be read, what is read with doubt, and what a supply contains."""

from __future__ import annotations

import string
import subprocess
import sys
from datetime import date
from typing import get_args

import pytest
from biip.gs1_application_identifiers import _GS1_APPLICATION_IDENTIFIERS
from hypothesis import example, given, settings
from hypothesis import strategies as st

from lda_notes.knowledge.supplies import CONTAINS, DeviceIdentifier, ScanFault, contains, parse
from lda_notes.record import vocabulary as words
from lda_notes.udi import hibc, shown

TODAY = date(2026, 3, 4)
GS1_TEXT = "(01)51022222233336(17)270707(10)A213B1(21)1234"
HIBC_TEXT = "+A99912345/$$52001510X3/16D20111212/S77DEFG457"
ISBT_TEXT = "=/A9999XYZ100T0944=,000025=A99971312345600=>014032=}013032&,1000000000000XYZ123"


def fault(text: str) -> ScanFault:
    result = parse(text, TODAY)
    assert isinstance(result, ScanFault), result
    return result


def ok(text: str) -> DeviceIdentifier:
    result = parse(text, TODAY)
    assert isinstance(result, DeviceIdentifier), result
    return result


def hibc_text(body: str) -> str:
    return body + hibc.check_character(body)


# ---- texts that are refused, each with what was found ----

REFUSED = [
    ("", "is empty"),
    (" \r\n\t", "is empty"),
    ("]d2", "is empty"),
    ("REF 1234", 'begins with "REF 1234"'),
    ("https://example.org/01/51022222233336", 'begins with "https://"'),
    ("(01)5102222223333é", "holds the character"),
    ("(01)٥١٠٢٢٢٢٢٢٣٣٣٣٦", "holds the character"),
    ("(01)" + "5" * 500, "504 characters"),
    ("(01)5102222223333", 'Part (01), the product number, is "5102222223333"; expected 14 digits'),
    ("(17)270707(10)A213B1", "lacks part (01)"),
    ("17270707" + "10A213B1", "lacks part (01)"),
    ("(01)51022222233336(10)", "brackets"),
    ("(01)51022222233336(10)AB(1)C", "brackets"),
    ("(01)51022222233336)", "expected 14 digits"),
    ("((01)51022222233336", "brackets"),
    ("(01)51022222233336(10)" + "A" * 21, "expected 1 to 20"),
    ("(01)51022222233336(10)A#1", "expected 1 to 20"),
    ("(01)51022222233336(10)A\x1dB", "expected 1 to 20"),
    ("(01)51022222233336(9999)AB", "an application identifier that GS1 defines"),
    ("(01)51022222233336(7003)2613", "with a value of its kind and length"),
    ("(01)51022222233336(31)02000123", "an application identifier that GS1 defines"),
    ("(01)51022222233336(10)A(10)B", 'the lot, is given twice, as "A" and as "B"'),
    ("(01)51022222233336(17)270732", "is 270732; a date as YYMMDD"),
    ("(01)51022222233336(17)270707(7003)2707081200", "two expiries, 2027-07-07 and 2027-07-08"),
    ("(01)51022222233336\n17270707", "Some rows"),
    ("0151022222233336" + "99", 'from "99" on'),
    ("0151022222233336" + "30\x1d17270707", "split into GS1 parts"),
    ("51022222233335", "check digit 5; 6 was expected"),
    ("+", "begins as HIBC"),
    ("++++", "begins as HIBC"),
    ("+a!1", 'contains "!"'),
    (hibc_text("+A991"), "The product part"),
    (hibc_text("+A999-TEST0"), "The product part"),
    (hibc_text("+A999TESTX"), "The product part"),
    (hibc_text("+A999TEST0/X12"), 'The part "X12"'),
    (hibc_text("+A999TEST0/$$31313011"), "no date of the calendar"),
    (hibc_text("+A999TEST0/$$4200202"), "no date of the calendar"),
    (hibc_text("+A999TEST0/$$420020224"), "no date of the calendar"),
    (hibc_text("+A999TEST0/$$1326LOT"), "no date of the calendar"),
    (hibc_text("+A999TEST0/$$525366LOT"), "no date of the calendar"),
    (hibc_text("+A999TEST0/$$8AB"), "no date of the calendar"),
    (hibc_text("+A999TEST0/$$LOT"), "no date of the calendar"),
    (hibc_text("+A999TEST0/16D20130230"), "no date of the calendar"),
    (hibc_text("+A999TEST0/14D20130001"), "no date of the calendar"),
    (hibc_text("+A999TEST0/25366"), "no date of the calendar"),
    (hibc_text("+A999TEST0/$A/$$7B"), 'The lot is given twice, as "A" and as "B"'),
    (hibc_text("+A999TEST0/$$3260101A/14D20260102"), 'The expiry is given twice, as "2026-01-01"'),
    (hibc_text("+A999TEST0") + "\n" + hibc_text("+A999TEST1"), "contains 2 products"),
    ("=)1TE123456A&)RZ12345678", "from character 1 on"),
    ("=/A9999XYZ100T0944=/A9999XYZ100T0944", "from character 19 on"),
    ("=,000025", "lacks the product part"),
    ("=/A9999XYZ100T0944=>014367", "014367 is no day"),
    ("=+03000=/A9999XYZ100T0944=,000025", "announces 3 parts and contains 2"),
]


@pytest.mark.parametrize(("text", "says"), REFUSED)
def test_refused_in_one_plain_sentence(text: str, says: str) -> None:
    refusal = fault(text)
    assert says in refusal.message
    assert refusal.todo.endswith(".")


def test_compound_message_header_is_read_past() -> None:
    assert ok("=+06000" + ISBT_TEXT).device == ok(ISBT_TEXT).device


def test_isbt_century() -> None:
    assert ok("=/A9999XYZ100T0944=}999365").made == date(1999, 12, 31)
    assert ok("=/A9999XYZ100T0944=}900001").made == date(1900, 1, 1)
    assert ok("=/A9999XYZ100T0944=>024366").expires == date(2024, 12, 31)


def test_product_number_alone_says_what_it_lacks() -> None:
    read = ok("036000241457")
    assert read.device == "00036000241457"
    assert "take lot and expiry from the label" in read.notes[0]
    both = ok("]E00036000241457\n]C117270707" + "10A213B1")
    assert (both.device, both.lot, both.expires, both.notes) == ("00036000241457", "A213B1", date(2027, 7, 7), ())


def test_lot_that_may_have_swallowed_a_part_is_said() -> None:
    swallowed = ok("0151022222233336" + "10A213B1211234")
    assert swallowed.lot == "A213B1211234"
    assert "the lot may have taken in a part" in swallowed.notes[0]
    assert ok("0151022222233336" + "10A213B1").notes == ()


def test_expiry_with_an_hour() -> None:
    read = ok("(01)51022222233336(7003)2707071330(10)A1")
    assert (read.expires, read.expires_hour, read.lot) == (date(2027, 7, 7), 13, "A1")
    assert ok("(01)51022222233336(7003)2707079999").expires_hour is None


def test_month_expiry_says_how_it_was_read() -> None:
    read = ok(hibc_text("+A999TEST0/$$0228LOT"))
    assert read.expires == date(2028, 2, 29)
    assert "month and year, read as the last day of the month, 2028-02-29" in read.notes[0]


def test_small_letters_of_a_hibc_text_are_read_as_capitals() -> None:
    assert ok(HIBC_TEXT.lower()) == ok(HIBC_TEXT)


def test_caption_asterisks_and_blanks_around_them_are_left_out() -> None:
    assert ok(f"  *{HIBC_TEXT}*  \r\n") == ok(HIBC_TEXT)


def test_blank_behind_a_hibc_text_is_not_taken_for_nothing() -> None:
    assert "is a space" in fault(HIBC_TEXT + " ").message


def test_lot_with_an_opening_bracket_survives_in_the_carrier() -> None:
    read = ok("0151022222233336" + "10A(10)B\x1d211")
    assert read.lot == "A(10)B"
    assert ok(read.carrier) == read


# ---- what holds for every text ----

ALPHABETS = [
    string.printable,
    "()0123456789AB ",
    "{}0123456789",
    "+$/0123456789ABDQS -.*_\n",
    "=/,>}&1290AZ+",
    "]dC120\x1d↔379",
]
TEXTS = st.one_of(
    st.text(),
    *(st.text(alphabet, max_size=60) for alphabet in ALPHABETS),
    *(
        st.builds("{}{}{}".format, st.sampled_from(starts), st.text(alphabet, max_size=30), st.sampled_from(["", "\n"]))
        for starts, alphabet in [
            (["(01)51022222233336"], "()0123456789ABCD"),
            (["0151022222233336", "]d20151022222233336"], "0123456789AB\x1d"),
            (["=/A9999XYZ100T0944"], "=,>}&109A"),
        ]
    ),
    st.builds(
        lambda form, identifier, digits, tail: form.format(identifier) + digits + tail,
        st.sampled_from(["(01)51022222233336({})", "0151022222233336{}"]),
        st.sampled_from(sorted(_GS1_APPLICATION_IDENTIFIERS)),
        st.text("0123456789", max_size=30),
        st.sampled_from(["", "AB", "\x1d10AB"]),
    ),
    st.text("0123456789ABDQS/$+ ", max_size=30).map(lambda tail: hibc_text("+A999TEST0/" + tail)),
    st.text("0123456789ABDQS/$+ ", max_size=30).map(lambda tail: hibc_text("+A999TEST0/$$" + tail)),
)


@settings(max_examples=1500, deadline=None)
@given(TEXTS, st.dates())
@example(GS1_TEXT, date.min)
@example(GS1_TEXT, date.max)
@example(hibc_text("+A999TEST0/$$0099"), date.min)
@example(hibc_text("+A999TEST0/$$599001"), date.max)
def test_no_text_raises_and_every_answer_is_plain(text: str, today: date) -> None:
    result = parse(text, today)
    sentences = [result.message, result.todo] if isinstance(result, ScanFault) else list(result.notes)
    for sentence in sentences:
        assert sentence[0].isupper()
        assert sentence.endswith(".")
        assert not set(sentence) & set("<>@\n\r\t\x1d")
        assert sentence.isprintable()


@settings(max_examples=500, deadline=None)
@given(TEXTS)
@example(GS1_TEXT)
@example(HIBC_TEXT)
@example(ISBT_TEXT)
@example("*+A123BJC5D6E71G*\n*+$$52001510X3GD*")
def test_what_was_read_reads_back_from_its_own_carrier(text: str) -> None:
    read = parse(text, TODAY)
    if isinstance(read, DeviceIdentifier):
        again = parse(read.carrier, TODAY)
        assert isinstance(again, DeviceIdentifier)
        told = [(i.device, i.lot, i.serial, i.made, i.expires, i.expires_hour, i.donation) for i in (read, again)]
        assert told[0] == told[1]
        assert again.carrier == read.carrier


@given(st.text())
def test_quoted_text_is_safe_in_any_output(text: str) -> None:
    quoted = shown(text)
    assert quoted.isprintable()
    assert not set(quoted) & set("<>@")


def test_check_never_pays_for_biip_on_what_records_keep() -> None:
    code = (
        "import sys, datetime as d; from lda_notes.knowledge.supplies import parse, DeviceIdentifier as D\n"
        f"assert all(isinstance(parse(t, d.date(2026, 3, 4)), D) for t in {[GS1_TEXT, HIBC_TEXT, ISBT_TEXT]!r})\n"
        "assert 'biip' not in sys.modules\n"
        "assert isinstance(parse('0151022222233336', d.date(2026, 3, 4)), D)\n"
        "assert 'biip' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


# ---- contents ----

NAMED = {
    *get_args(words.AntisepticAgent),
    *get_args(words.AnestheticAgent),
    *get_args(words.DressingType),
    *get_args(words.FlushSolution),
    *get_args(words.LockDrug),
    *get_args(words.Preservative),
    *get_args(words.ThrombolyticDrug),
}


def test_every_supply_word_of_the_record_has_its_contents() -> None:
    assert len(NAMED) > 15
    assert CONTAINS.keys() >= NAMED


def test_contents_are_allergens_the_record_can_name() -> None:
    assert frozenset[str]().union(*CONTAINS.values()) <= set(get_args(words.AllergenName))


@pytest.mark.parametrize(
    "allergen", ["chlorhexidine", "iodine", "isopropyl alcohol", "heparin", "lidocaine", "prilocaine"]
)
def test_a_supply_named_after_an_allergen_contains_it(allergen: str) -> None:
    named = [supply for supply in CONTAINS if allergen in supply]
    if allergen == "iodine":
        assert sorted(named) == ["iodine tincture", "povidone-iodine"]
    assert named
    assert all(allergen in CONTAINS[supply] for supply in named)


def test_contents_by_name() -> None:
    assert contains("chlorhexidine in alcohol") == {"chlorhexidine", "isopropyl alcohol"}
    assert contains(" Chlorhexidine  disc ") == {"chlorhexidine"}
    assert contains("0.9% sodium chloride") == frozenset()
    assert contains("something new") is None


def test_no_alcohol_where_the_name_denies_it() -> None:
    for supply in ("aqueous chlorhexidine", "povidone-iodine", "iodine tincture", "chlorhexidine disc"):
        assert "isopropyl alcohol" not in CONTAINS[supply]
