"""Makes ``ORACLES.md``: which outside validator catches which of our single faults.

Run ``python tests/fhir/make_oracles.py`` after a change of the faults, of ``verify`` or of a validator; it takes a
minute, for two of the validators are thorough and slow. A test makes our columns again and compares; it asks the
others only when something changed that they would see.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.metadata
import io
import json
import re
import sys
import tarfile
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, Final

import fhir_examples
import fhir_official
from fhir_demos import CONFIG
from fhir_mutants import FOUND_LATER, MUTANTS, WRITTEN_BLIND, Mutant

from lda_notes.fhir.extensions import OWN, definition
from lda_notes.fhir.verify.models import model_check
from lda_notes.fhir.verify.verification import verify

HERE: Final = Path(__file__).parent
sys.path.append(str(HERE.parent / "java"))
from validator import JavaValidator  # noqa: E402

TARGET: Final = HERE / "ORACLES.md"
CORRECT: Final = ("access", "deaccess", "with_context", "corrections")


def own_package(path: Path) -> Path:
    """Write the definitions of our own extensions to ``path`` as a package that a validator can load."""
    files: dict[str, Any] = {f"StructureDefinition-{own.name}.json": definition(own, CONFIG) for own in OWN}
    files["package.json"] = {"name": "org.example.lda-notes", "version": "1.0.0", "fhirVersions": ["4.0.1"]}
    with tarfile.open(path, "w:gz") as archive:
        for name, content in files.items():
            data = json.dumps(content).encode()
            member = tarfile.TarInfo(f"package/{name}")
            member.size = len(data)
            archive.addfile(member, io.BytesIO(data))
    return path


class Pyrofile:
    """pyrofile-validator with the core package and our extensions; without them it reports errors that are none."""

    def __init__(self) -> None:
        from pyrofile_validator.config import ValidatorConfig
        from pyrofile_validator.core.engine import Validator

        with tempfile.TemporaryDirectory() as folder:
            own = own_package(Path(folder, "own.tgz"))
            archives = [str(fhir_official.core_archive()), str(own)]
            self._validator = Validator(ValidatorConfig(local_package_paths=archives))

    def errors(self, bundle: Any) -> list[str]:
        """The errors of a bundle. The FHIRPath engine beneath prints what it traces; that is kept quiet."""
        with contextlib.redirect_stdout(io.StringIO()):
            report = self._validator.validate_resource(bundle)
        return [f"{i.code} {i.path}: {i.message}" for i in report.issues if i.severity.value in ("error", "fatal")]


def with_what_they_name(bundle: Any, chosen: set[int]) -> Any:
    """The bundle with the chosen entries and what they refer to alone: pyrofile takes 40 ms an entry."""
    entries = bundle["entry"]
    texts = [json.dumps(entry) for entry in entries]
    kept: set[int] = set()
    reached = chosen
    while reached:
        kept |= reached
        named = {i for i, one in enumerate(entries) if any(one.get("fullUrl", "-") in texts[k] for k in reached)}
        reached = named - kept
    return {**bundle, "entry": [entries[index] for index in sorted(kept)]}


def _only_what_matters(mutant: Mutant) -> Any:
    bundle, at = mutant.make(), mutant.entry_index()
    return bundle if at is None else with_what_they_name(bundle, {at})


def seen_by_the_validators() -> str:
    """A digest of all that decides what the outside validators say: the faults, our definitions, their versions.

    While it stands on the page, the page's columns of theirs are what they would say again.
    """
    definitions = [definition(own, CONFIG) for own in OWN]
    pom = (HERE.parent / "java" / "validator" / "pom.xml").read_text()
    version = importlib.metadata.version("pyrofile-validator")
    told = json.dumps([[mutant.make() for mutant in MUTANTS], definitions, pom, version], default=str)
    return hashlib.sha256(told.encode()).hexdigest()


def _java_column() -> tuple[str, list[bool]]:
    caught = []
    with JavaValidator() as java:
        for mutant in MUTANTS:
            try:
                [issues] = java.check([mutant.make()])
                caught.append(any(issue.is_error for issue in issues))
            except RuntimeError:
                # It fell over the fault: the bundle is refused, with no word on why.
                caught.append(True)
        return java.version, caught


def _pyrofile_column() -> list[bool]:
    pyrofile = Pyrofile()
    caught = []
    for mutant in MUTANTS:
        try:
            caught.append(bool(pyrofile.errors(_only_what_matters(mutant))))
        except (TypeError, AttributeError, ValueError, KeyError):
            caught.append(True)
    return caught


def _mark(caught: bool) -> str:
    return "yes" if caught else "-"


def columns_of_the_page() -> tuple[str, list[bool], list[bool]] | None:
    """What the page says of the outside validators, if they were asked about these very faults."""
    page = TARGET.read_text() if TARGET.exists() else ""
    if seen_by_the_validators() not in page:
        return None
    marks = re.findall(r"(yes|-) \| (yes|-) \|$", page.partition("## Published")[0], flags=re.MULTILINE)
    [version] = re.findall(r"\(HAPI FHIR ([^)]+)\)", page)
    return version, [java == "yes" for _, java in marks], [pyrofile == "yes" for pyrofile, _ in marks]


def _asked_again() -> tuple[str, list[bool], list[bool]]:
    with ThreadPoolExecutor(1) as beside:
        java_run = beside.submit(_java_column)
        pyrofile = _pyrofile_column()
        return *java_run.result(), pyrofile


def _faults_table(outside: tuple[str, list[bool], list[bool]]) -> list[str]:
    java_version, java, pyrofile = outside
    models = [bool(model_check(mutant.make())) for mutant in MUTANTS]
    rows = [
        "| fault | in | says | verify | fhir.resources | pyrofile | Java |",
        "|---|---|---|---|---|---|---|",
    ]
    for mutant, *marks in zip(MUTANTS, models, pyrofile, java, strict=True):
        rules = ", ".join(sorted({fault.rule for fault in verify(mutant.make())}))
        cells = [mutant.name, mutant.resource_type(), mutant.says, rules, *(_mark(mark) for mark in marks)]
        rows.append(f"| {' | '.join(cells)} |")
    total = len(MUTANTS)
    nobody = sum(not any(marks) for marks in zip(models, pyrofile, java, strict=True))
    return [
        f"{total} bundles with one fault each: {len(WRITTEN_BLIND)} written from the specification before the checks "
        f"were, {len(FOUND_LATER)} added later. "
        f"`verify` catches {sum(bool(verify(m.make())) for m in MUTANTS)}, "
        f"fhir.resources {importlib.metadata.version('fhir.resources')} (R4B models) {sum(models)}, "
        f"pyrofile-validator {importlib.metadata.version('pyrofile-validator')} with the core package "
        f"and our extensions {sum(pyrofile)}, the reference Java validator (HAPI FHIR {java_version}) {sum(java)}. "
        f"{nobody} are caught by `verify` alone: most of those break our own profile, which the others cannot know.",
        "",
        *rows,
    ]


def _examples_table() -> list[str]:
    published = fhir_examples.published()
    clean = sum(not _faults(resource) for resource in published.values())
    rows = [f"| {name} | {rule} | {why} |" for name, (rule, why) in fhir_examples.EXCEPTIONS.items()]
    return [
        f"{len(published)} published examples of our resource types (hl7.fhir.r4.examples 4.0.1), judged by R4 alone "
        f"(`house=False`): {clean} without fault. The others:",
        "",
        "| example | rule | what is wrong in the example |",
        "|---|---|---|",
        *rows,
    ]


def _faults(resource: dict[str, Any]) -> tuple[Any, ...]:
    return verify(fhir_examples.in_a_bundle(resource), house=False)


def made(outside: tuple[str, list[bool], list[bool]] | None = None) -> str:
    """The page as it must be; ``outside`` is what the outside validators are known to say, else they are asked."""
    rows = [
        "# Outside validators against our faults, and ours against published examples",
        "",
        "Made by `tests/fhir/make_oracles.py`; a test fails when it is stale.",
        "",
        "## Faults",
        "",
        *_faults_table(outside or _asked_again()),
        "",
        "## Published examples",
        "",
        *_examples_table(),
        "",
        f"<!-- asked about {seen_by_the_validators()} -->",
        "",
    ]
    return "\n".join(rows)


if __name__ == "__main__":
    TARGET.write_text(made())  # always asked again
