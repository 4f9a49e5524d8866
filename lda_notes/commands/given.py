"""Answers given beforehand, by option or from a file: each waits for its question."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from lda_notes.files.syntax import read_json, read_yaml
from lda_notes.problems import Failure


def from_options(pairs: tuple[str, ...]) -> dict[str, str]:
    """Return the answers of ``NAME=VALUE`` options. Raises `Failure` for what is not such a pair."""
    found: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name.strip():
            raise Failure(f"{pair!r} is not NAME=VALUE, such as needle.gauge=20")
        found[name.strip()] = value.strip()
    return found


def from_file(path: Path) -> dict[str, str]:
    """Read a file of answers: a mapping, YAML or JSON, from names to answers. Raises `Failure` with every fault."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise Failure(f"{path}: cannot be read ({error.strerror}); check the name and the permissions") from None
    parsed = read_json(raw) if path.suffix.lower() == ".json" else read_yaml(raw)
    if parsed.faults or parsed.data is None:
        raise Failure("\n".join(f"{path}:{f.row}:{f.column}: {f.message}; {f.todo}" for f in parsed.faults))
    return dict(_flat(parsed.data, ""))


def _flat(data: Mapping[str, Any], head: str) -> Iterator[tuple[str, str]]:
    for key, value in data.items():
        name = f"{head}{key}"
        match value:
            case {"not_assessed": reason} | {"not_done": reason}:
                yield name, f"- {reason}"
            case Mapping():
                yield from _flat(value, f"{name}.")
            case list() if any(isinstance(item, Mapping) for item in value):
                yield from _flat({str(at): item for at, item in enumerate(value)}, f"{name}.")
            case list():
                yield name, ", ".join(str(item) for item in value)
            case bool():
                yield name, "yes" if value else "no"
            case None:
                yield name, "."
            case _:
                yield name, str(value)
