"""Checks compiled from the official definitions: elements, cardinalities, types, bindings, rules of a type.

A check takes a value and the scope and returns its faults, or None. Sound objects take the short way: the
tuple of an object's keys names a plan, made once, that holds the check of each key in order and the rules that
these keys can break. Whatever the plan does not accept goes the long way, which says what is wrong and where.
"""

from __future__ import annotations

import copy
import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

from lda_notes.fhir.verify.definitions import Definitions, Element
from lda_notes.fhir.verify.faults import Fault, Found, kind, shown
from lda_notes.fhir.verify.primitives import binding_check, check_absolute_uri, primitive_check
from lda_notes.fhir.verify.references import reference_faults
from lda_notes.fhir.verify.scope import Scope

Check = Callable[[Any, Scope], Found]

SHAPE_RULES: Final = frozenset({"type", "list", "single", "empty", "ele-1", "null", "resource-type"})
"""Rules whose breach means that what lies below cannot be read as its type."""

_MOST_PLANS: Final = 1024

_ABSOLUTE_URIS: Final = frozenset(
    {("Coding", "system"), ("Identifier", "system"), ("Quantity", "system"), ("Bundle.entry", "fullUrl")}
)
_ELEMENT: Final = (
    Element("id", False, False, ("string",), "", ()),
    Element("extension", False, True, ("Extension",), "", ()),
)


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule about one type of object.

    ``on`` names the type (``Observation``, ``Task.restriction``). ``needs`` are the JSON keys of which one must
    be there for the rule to be breakable; empty means always. ``faults`` is called only on objects of the right
    shape, and returns None when all is well. ``by_keys``: whether it holds follows from the keys of the object alone.
    """

    key: str
    on: str
    needs: frozenset[str]
    faults: Callable[[Mapping[str, Any], Scope], Found]
    by_keys: bool = False


@dataclass(slots=True)
class _Plan:
    """The check of each key in order, and the rules that objects with these keys can break."""

    tests: tuple[Check, ...]
    rules: tuple[Callable[[Mapping[str, Any], Scope], Found], ...]

    def holds(self, value: dict[str, Any], scope: Scope) -> bool:
        """Return whether all is well."""
        for test, item in zip(self.tests, value.values(), strict=True):
            if test(item, scope) is not None:
                return False
        for rule in self.rules:  # noqa: SIM110 - a plain loop is twice as fast here
            if rule(value, scope) is not None:
                return False
        return True


@dataclass(slots=True)
class _Table:
    """Everything about one type, by JSON key."""

    tests: dict[str, Check] = field(default_factory=dict)
    with_nulls: dict[str, Check] = field(default_factory=dict)
    singles: set[str] = field(default_factory=set)
    required: dict[str, frozenset[str]] = field(default_factory=dict)
    sent: dict[str, frozenset[str]] = field(default_factory=dict)
    choices: dict[str, frozenset[str]] = field(default_factory=dict)


def _many(test: Check, *, nulls: bool = False) -> Check:
    """Return a check of a list whose items pass ``test``; ``nulls`` allows the gaps that go with extensions."""

    def check(value: Any, scope: Scope) -> Found:
        if type(value) is list and value:
            for item in value:
                if test(item, scope) is not None:
                    return slowly(value, scope)
            return None
        return slowly(value, scope)

    def slowly(value: Any, scope: Scope) -> Found:
        if not isinstance(value, list):
            message = f"{kind(value).capitalize()} stands where a list is due."
            return [Fault("list", value, message, "Put it into a list, even when there is only one.")]
        if not value:
            return [Fault("empty", value, "The list is empty.", "Leave the element out when there is nothing.")]
        found: list[Fault] = []
        for index, item in enumerate(value):
            if item is None:
                if not nulls:
                    found.append(_null(item).at(index))
            else:
                found += [fault.at(index) for fault in test(item, scope) or ()]
        return found or None

    return check


_CHANGES_MEANING: Final = {
    "modifierExtension": "The extension changes the meaning of the element",
    "implicitRules": "The resource follows rules of its own",
}
"""Elements that whoever does not understand them must not ignore (R4, 2.4.1 and 2.27), and what they are."""


def _not_known(name: str) -> str:
    return f"{_CHANGES_MEANING[name]}, and this program does not know it; R4 says not to process it."


def not_understood(value: Any) -> str | None:
    """Return why R4 says not to process a value, whatever its shape; None when nothing in it changes its meaning."""
    if isinstance(value, list):
        return next((why for one in value if (why := not_understood(one)) is not None), None)
    if not isinstance(value, dict):
        return None
    name = next((name for name in _CHANGES_MEANING if name in value), None)
    return _not_known(name) if name is not None else not_understood(list(value.values()))


def _refused(test: Check, name: str) -> Check:
    """Return a check that refuses even a sound value."""

    def check(value: Any, scope: Scope) -> Found:
        message = _not_known(name)
        return test(value, scope) or [Fault("not-understood", value, message, "Leave it out, or do not use it here.")]

    return check


def _null(value: object) -> Fault:
    return Fault("null", value, "null stands where a value is due.", "Leave the element out when there is none.")


class Compiler:
    """Makes checks of types on demand, with the rules that are to hold.

    ``always_sent`` names elements of a type that R4 leaves open and a profile requires.
    """

    def __init__(
        self,
        definitions: Definitions,
        rules: Iterable[Rule],
        always_sent: Mapping[str, tuple[str, ...]],
    ) -> None:
        self._definitions = definitions
        self._always_sent = always_sent
        self._rules: dict[str, list[Rule]] = {}
        for rule in rules:
            self._rules.setdefault(rule.on, []).append(rule)
        self._checks: dict[str, Check] = {}
        self._primitive: Callable[[str], Check] = cache(lambda name: primitive_check(name, definitions))
        self._absolute = check_absolute_uri()

    def check(self, type_name: str) -> Check:
        """Return the check of a datatype, a backbone element, a resource type or ``Resource``."""
        if type_name not in self._checks:
            made = self._resource_check() if type_name == "Resource" else self._object_check(type_name)
            self._checks[type_name] = made
        return self._checks[type_name]

    def _test(self, owner: str, element: Element, type_name: str) -> Check:
        """Return the check of one value of an element that is of one type."""
        if element.name in _CHANGES_MEANING:
            return _refused(
                self.check(type_name) if type_name == "Extension" else self._primitive(type_name), element.name
            )
        if (owner, element.name) in _ABSOLUTE_URIS:
            return self._absolute
        if element.binding and type_name == "code":
            return binding_check(element.binding, self._definitions)
        if element.binding in self._definitions.bindings and type_name == "CodeableConcept":
            return self._bound_concept(element.binding)
        if type_name == "Reference":
            return self._reference(element.targets)
        if type_name == "CodeableConcept":
            return self._concept()
        if type_name in self._definitions.primitives:
            return self._primitive(type_name)
        return self.check(type_name)

    def _bound_concept(self, binding: str) -> Check:
        """Return a CodeableConcept of which one code must come from a value set."""
        codes = self._definitions.bindings[binding]
        shape = self.check("CodeableConcept")

        def check(value: Any, scope: Scope) -> Found:
            found = shape(value, scope)
            if found is not None:
                return found
            sent = [coding.get("code") for coding in value.get("coding", ())]
            if any(code in codes for code in sent):
                return None
            message = f"No code of {binding} is said; R4 requires one."
            return [Fault("binding", sent, message, f"Send a code of {binding}.").at("coding")]

        return check

    def _reference(self, targets: tuple[str, ...]) -> Check:
        shape, allowed = self.check("Reference"), frozenset(targets)
        return lambda value, scope: shape(value, scope) or reference_faults(value, allowed, scope)

    def _concept(self) -> Check:
        """Return the check of a CodeableConcept; one that was found sound is known again by its words."""
        known: dict[str, dict[str, Any]] = {}
        other = self.check("CodeableConcept")

        def check(value: Any, scope: Scope) -> Found:
            text = value.get("text") if type(value) is dict else None
            if type(text) is str and value == known.get(text):
                return None
            found = other(value, scope)
            if found is None and type(text) is str:
                if len(known) >= _MOST_PLANS:
                    known.clear()
                known[text] = copy.deepcopy(value)
            return found

        return check

    def _table(self, type_name: str) -> _Table:
        table = _Table()
        if type_name in self._definitions.resources:
            table.tests["resourceType"] = lambda value, _scope: None if value == type_name else _misnamed(value)
            table.required["resourceType"] = frozenset({"resourceType"})
        elements = _ELEMENT if type_name == "Element" else self._definitions.types[type_name]
        for element in elements:
            keys = self._add(table, type_name, element)
            if element.required:
                table.required[element.name] = frozenset(keys | {f"_{key}" for key in keys})
            if element.name in self._always_sent.get(type_name, ()):
                table.sent[element.name] = frozenset(keys | {f"_{key}" for key in keys})
            if element.is_choice:
                table.choices[element.name] = frozenset(keys)
        return table

    def _add(self, table: _Table, type_name: str, element: Element) -> set[str]:
        keys = set()
        for element_type in element.types:
            key = element.name
            if element.is_choice:
                # A SimpleQuantity is a profile of Quantity: its name never stands in JSON.
                suffix = element_type.removeprefix("Simple")
                key = key.removesuffix("[x]") + suffix[0].upper() + suffix[1:]
            keys.add(key)
            test = self._test(type_name, element, element_type)
            if element.many:
                table.tests[key] = _many(test)
                table.with_nulls[key] = _many(test, nulls=True)
            else:
                table.tests[key] = test
                table.singles.add(key)
            if element_type in self._definitions.primitives and element_type != "xhtml":
                beside = self.check("Element")
                table.tests[f"_{key}"] = _many(beside, nulls=True) if element.many else beside
        return keys

    def _object_check(self, type_name: str) -> Check:
        plans: dict[tuple[Any, ...], _Plan] = {}
        rules = self._rules.get(type_name, [])
        tables: list[_Table] = []

        def table() -> _Table:
            if not tables:
                tables.append(self._table(type_name))
            return tables[0]

        def check(value: Any, scope: Scope) -> Found:
            if type(value) is not dict:
                return slowly(value, scope)
            plan = plans.get(tuple(value))
            if plan is None:
                plan = _plan(table(), rules, value, scope)
                if plan is None:
                    return slowly(value, scope)
                if len(plans) >= _MOST_PLANS:
                    plans.clear()
                plans[tuple(value)] = plan
            if plan.holds(value, scope):
                return None
            return slowly(value, scope)

        def slowly(value: Any, scope: Scope) -> Found:
            if not isinstance(value, dict):
                name = type_name.rpartition(".")[2]
                message = f"{kind(value).capitalize()} stands where an object ({name}) is due."
                return [Fault("type", value, message, f"Send one {name}.")]
            if not value:
                return [Fault("ele-1", value, "The object is empty.", "Leave the element out when it says nothing.")]
            found = list(_key_faults(table(), type_name, value))
            for key, item in value.items():
                found += [fault.at(str(key)) for fault in _item_faults(table(), value, key, item, scope)]
            if not any(fault.rule in SHAPE_RULES for fault in found):
                for rule in rules:
                    if not rule.needs or rule.needs & value.keys():
                        found += rule.faults(value, scope) or ()
            return found or None

        return check

    def _resource_check(self) -> Check:
        carried = self._definitions.judged

        def check(value: Any, scope: Scope) -> Found:
            name = value.get("resourceType") if isinstance(value, dict) else None
            if name in carried:
                return self._in_resource(self.check(name), value, scope)
            if not isinstance(value, dict):
                message = f"{kind(value).capitalize()} stands where a resource is due."
                return [Fault("type", value, message, "Send one resource.")]
            if isinstance(name, str) and name in self._definitions.resources:
                message = f"{name} is a resource type that we do not send."
                todo = f"Send one of {', '.join(carried)}, or judge the bundle by R4 alone."
                return [Fault("not-carried", name, message, todo).at("resourceType")]
            return [fault.at("resourceType") for fault in _misnamed(name)]

        return check

    @staticmethod
    def _in_resource(test: Check, value: dict[str, Any], scope: Scope) -> Found:
        """Check a resource with its contained ones in view."""
        if scope.root is not None:
            return test(value, scope)
        scope.enter(value)
        try:
            return test(value, scope)
        finally:
            scope.leave()


def _misnamed(name: object) -> list[Fault]:
    message = f"{shown(name)} is no resource type of FHIR R4."
    return [Fault("resource-type", name, message, "Name the type as R4 does, with its capitals.")]


def _test_of(table: _Table, value: Mapping[str, Any], key: str) -> Check | None:
    if key in table.with_nulls and f"_{key}" in value:
        return table.with_nulls[key]
    return table.tests.get(key)


def _plan(table: _Table, rules: list[Rule], value: dict[str, Any], scope: Scope) -> _Plan | None:
    """Return the plan for objects with these keys, or None when the keys alone are wrong."""
    if not value or next(iter(_key_faults(table, "", value)), None) is not None:
        return None
    tests = tuple(test for key in value if (test := _test_of(table, value, key)) is not None)
    breakable = [rule for rule in rules if not rule.needs or rule.needs & value.keys()]
    if any(rule.faults(value, scope) is not None for rule in breakable if rule.by_keys):
        return None
    wanted = tuple(rule.faults for rule in breakable if not rule.by_keys)
    return _Plan(tests, wanted)


def _key_faults(table: _Table, type_name: str, value: dict[str, Any]) -> Iterable[Fault]:
    """Yield what is wrong with the keys of an object, whatever their values."""
    for key in value:
        if key not in table.tests:
            near = difflib.get_close_matches(str(key), table.tests, n=1)
            hint = f"Did you mean {near[0]}?" if near else "Leave it out."
            message = f"{shown(key)} is no element of {type_name} in R4."
            yield Fault("unknown-element", value[key], message, hint).at(str(key))
    for name, keys in table.required.items():
        if not keys & value.keys():
            message = f"{type_name}.{name} is missing; R4 requires it."
            yield Fault("required", None, message, f"Add {name}.").at(name)
    for name, keys in table.sent.items():
        if not keys & value.keys():
            message = f"{type_name}.{name} is missing; we always send it."
            yield Fault("profile-required", None, message, f"Add {name}.").at(name)
    for name, keys in table.choices.items():
        present = sorted(keys & value.keys())
        if len(present) > 1:
            message = f"{' and '.join(present)} stand together; R4 allows one {name}."
            yield Fault("choice", present, message, "Keep the one that says it best.").at(present[1])


def _item_faults(table: _Table, value: dict[str, Any], key: str, item: Any, scope: Scope) -> Iterable[Fault]:
    test = _test_of(table, value, key)
    if test is None:
        return ()
    if item is None:
        return (_null(item),)
    if key in table.singles and isinstance(item, list):
        return (Fault("single", item, "A list stands where one value is due.", "Send the value without a list."),)
    return test(item, scope) or ()
