"""A facility's own policy as a file: where it is looked for, how it is read, and which policy is then in force."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path as FilePath
from typing import Final

from lda_notes.files.syntax import MAX_BYTES, Parsed, read_json, read_yaml
from lda_notes.files.system import contents
from lda_notes.knowledge.policy import DEFAULT, Policy
from lda_notes.knowledge.policy_values import apply
from lda_notes.problems import Failure, Finding, Place

NAME: Final = "lda-policy.yaml"
"""Name of the policy file that is looked for beside the records."""

VARIABLE: Final = "LDA_NOTES_POLICY"
"""Environment variable that names the policy file."""

_KEYED: Final = frozenset({"policy-unknown-name", "policy-shape"})
"""Faults of a name: they are shown where the name stands, the others where its value stands."""


def load(path: FilePath) -> tuple[Policy, tuple[Finding, ...]]:
    """Read one policy file, YAML or (by its suffix) JSON, and apply it over the published limits.

    Every fault of the file is a finding with file, row and column; with any, the published policy comes back
    unchanged. Raises `Failure` when the file cannot be opened.
    """
    raw = _bytes(path)
    parsed = read_json(raw) if path.suffix.lower() == ".json" else read_yaml(raw)
    if not raw.strip():
        raise Failure(f"{path}: the policy file is empty; write source: and limits:, or remove it")
    if b"\0" in raw:
        raise Failure(f"{path}: is not text, and so no policy file; name the facility's policy, in YAML or JSON")
    faults = [
        Finding(fault.rule, "wrong", fault.message, fault.todo, (), place=Place(str(path), fault.row, fault.column))
        for fault in parsed.faults
    ]
    if parsed.data is None:
        return DEFAULT, tuple(faults)
    policy, found = apply(DEFAULT, parsed.data)
    faults.extend(finding._replace(place=_place(finding, parsed, path)) for finding in found)
    faults.sort(key=lambda finding: (finding.place or Place("", 0, 0), finding.message))
    return (DEFAULT, tuple(faults)) if faults else (policy, ())


def _bytes(path: FilePath) -> bytes:
    try:
        raw = contents(path, MAX_BYTES + 1)
    except OSError as error:
        raise Failure(
            f"{path}: the policy file cannot be read ({error.strerror or error}); check the name and the permissions"
        ) from None
    if len(raw) > MAX_BYTES:
        raise Failure(f"{path}: is too large for a policy file; give the facility's policy alone")
    return raw


def _place(finding: Finding, parsed: Parsed, path: FilePath) -> Place:
    row, column = parsed.key_place(finding.path) if finding.rule in _KEYED else parsed.place(finding.path)
    return Place(str(path), row, column)


def beside(records: Iterable[FilePath]) -> FilePath | None:
    """Return the policy file that lies beside ``records`` (files or folders); None when there is none.

    One run has one policy: raises `Failure` when the records lie in folders with different policies, or when only
    some of them have one.
    """
    folders = dict.fromkeys(path if path.is_dir() else path.parent for path in records)
    found = {folder: folder / NAME if (folder / NAME).is_file() else None for folder in folders}
    if len(set(found.values())) > 1:
        with_one = ", ".join(str(policy) for policy in found.values() if policy)
        raise Failure(
            f"the records lie in folders of different policies ({with_one}); name one of them with --policy, "
            "or run each folder by itself"
        )
    return next(iter(found.values()), None)


def in_force(path: FilePath | None, records: Iterable[FilePath] = ()) -> Policy:
    """Return the policy in force for ``records``: the file's at ``path``, else beside them, else as published.

    Raises `Failure` with every fault of the file, each with file, row and column: a policy is never half in force.
    """
    chosen = path or beside(records)
    if chosen is None:
        return DEFAULT
    policy, findings = load(chosen)
    if findings:
        faults = "\n".join(f"{finding.place}: {finding.message} {finding.todo}" for finding in findings)
        counted = "1 fault" if len(findings) == 1 else f"{len(findings)} faults"
        raise Failure(f"the policy file has {counted}, so nothing was done:\n{faults}")
    return policy
