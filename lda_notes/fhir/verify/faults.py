"""Faults of a bundle, as values."""

from __future__ import annotations

from dataclasses import dataclass, field

from lda_notes.problems import Path

_SHOWN = 80


@dataclass(frozen=True, slots=True)
class BundleFault:
    """One fault of a bundle.

    ``entry`` counts from 0 and is None for a fault of the bundle itself; ``path`` leads from the bundle to the
    value, such as ``("entry", 3, "resource", "status")``; ``value`` is what is there, shortened.
    ``rule`` is the key of an official invariant (``obs-6``) or one of our own names (``binding``).
    """

    entry: int | None
    path: Path
    rule: str
    value: str
    message: str
    todo: str

    @property
    def where(self) -> str:
        """The path as FHIR writes it: ``entry[3].resource.status``."""
        text = ""
        for step in self.path:
            text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
        return text or "the bundle"

    def as_json(self) -> dict[str, str | int | None]:
        """Return the fault as ``verify`` writes it, for `json.dumps`."""
        return {
            "entry": self.entry,
            "path": self.where,
            "rule": self.rule,
            "value": self.value,
            "message": self.message,
            "todo": self.todo,
        }

    def __str__(self) -> str:
        return f"{self.where}: {self.message} [{self.rule}] {self.todo}"


@dataclass(slots=True)
class Fault:
    """A fault on its way up: ``steps`` gathers the path from the value outwards."""

    rule: str
    value: object
    message: str
    todo: str
    steps: list[str | int] = field(default_factory=list)

    def at(self, *steps: str | int) -> Fault:
        """Add steps, innermost first."""
        self.steps.extend(steps)
        return self

    def closed(self, *outer: str | int) -> BundleFault:
        """Return the finished fault, with the path turned the right way round under ``outer``."""
        path = (*outer, *reversed(self.steps))
        in_entry = len(path) > 1 and path[0] == "entry" and isinstance(path[1], int)
        entry = path[1] if in_entry else None
        assert entry is None or isinstance(entry, int)
        return BundleFault(entry, path, self.rule, shown(self.value), self.message, self.todo)


def says(rule: str, value: object, message: str, todo: str, *steps: str | int) -> Fault:
    """Return a fault at some steps, innermost first."""
    return Fault(rule, value, message, todo).at(*steps)


Found = list[Fault] | None
"""The result of a check: None when all is well, so that the usual case costs nothing."""


def shown(value: object) -> str:
    """Return a value for a reader, shortened."""
    if isinstance(value, dict):
        text = "an object with " + (", ".join(str(key) for key in list(value)[:8]) or "nothing in it")
    elif isinstance(value, list):
        text = f"a list of {len(value)}"
    elif value is None:
        text = "null"
    elif isinstance(value, bool):
        text = "true" if value else "false"
    else:
        text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


def kind(value: object) -> str:
    """Return what JSON calls a value."""
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, str):
        return "a text"
    return "null" if value is None else "a number"
