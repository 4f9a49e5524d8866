"""The record's layout as JSON Schema (draft 2020-12), for editors and for those who write records by machine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, get_args

from pydantic import AliasChoices, BaseModel

from lda_notes.record.episode import Episode

DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"

_MOMENT: Final = r"^(18[5-9]\d|19\d\d|20\d\d|21\d\d)-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:?\d\d)$"
_DAY: Final = r"^(18[5-9]\d|19\d\d|20\d\d|21\d\d)-\d\d-\d\d$"
_NUMBER: Final = r"^[+-]?\d+(\.\d+)?$"


def record_schema() -> dict[str, Any]:
    """Return the schema of a record; every field has a title and a description."""
    schema = Episode.model_json_schema()
    parts: dict[str, Any] = schema["$defs"]
    for model in _models(Episode):
        _former_keys(model, schema if model is Episode else parts[model.__name__])
    for part in (schema, *parts.values()):
        for name, field in part.get("properties", {}).items():
            _describe(name, field, part, parts)
        _loosen(part)
    schema["title"] = "Episode of an implanted port"
    return {"$schema": DRAFT, **schema}


def _describe(name: str, field: dict[str, Any], part: dict[str, Any], parts: dict[str, Any]) -> None:
    """Give a field that has none the description of the part that it contains, or of the kind that it marks."""
    target = parts.get(field.get("$ref", "").rpartition("/")[2], {})
    field["title"] = field.get("title") if "description" in field else name.replace("_", " ")
    field.setdefault("description", target.get("description") or f"{field.get('const')}: {part.get('description')}")


def _models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """Yield a model and every model inside it, each once."""
    seen: dict[type[BaseModel], None] = {model: None}
    waiting = [model]
    while waiting:
        for field in waiting.pop().model_fields.values():
            found = [one for one in _inside(field.annotation) if one not in seen]
            seen.update(dict.fromkeys(found))
            waiting += found
    yield from seen


def _inside(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _inside(part)


def _former_keys(model: type[BaseModel], part: dict[str, Any]) -> None:
    """Let a field stand under the key that it had in an earlier version too, marked as deprecated."""
    for name, field in model.model_fields.items():
        if not isinstance(field.validation_alias, AliasChoices):
            continue
        for old in (str(choice) for choice in field.validation_alias.choices if choice != name):
            part["properties"][old] = {**part["properties"][name], "deprecated": True}
            if name in part.get("required", ()):
                part["required"].remove(name)
                part.setdefault("allOf", []).append({"anyOf": [{"required": [name]}, {"required": [old]}]})


def _loosen(value: Any) -> None:
    """Write times as the record takes them: without seconds too, which the format date-time does not allow."""
    if isinstance(value, dict):
        form = value.pop("format", None) if isinstance(value.get("format"), str) else None
        if form is not None:
            value["pattern"] = {"date-time": _MOMENT, "date": _DAY}[form]
        value.pop("discriminator", None)  # not of JSON Schema: kind is a constant of each event
        members = value.get("anyOf", [])
        if any(member.get("type") == "number" for member in members):
            for member in members:
                if member == {"type": "string"}:
                    member["pattern"] = _NUMBER
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        _loosen(inner)
