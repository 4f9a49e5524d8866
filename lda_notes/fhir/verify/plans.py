"""Plans turned into code: what an object with certain keys must hold, as one function without loops or small calls.

A plan that is used often is written out as Python and compiled. It says only whether all is well; whatever it does
not accept is judged again by the checks themselves, which say what is wrong. So a plan may be too strict in an odd
case, never too lax.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final, NamedTuple
from weakref import WeakKeyDictionary


class Quick(NamedTuple):
    """An expression that is true only of values that a check accepts. ``{v}`` is the value, ``{0}`` a constant.

    ``types`` and ``scope`` can be named in it: what the bundle's addresses stand for, and the scope.
    """

    test: str
    constants: tuple[object, ...] = ()


_QUICK: Final[WeakKeyDictionary[Callable[..., Any], Quick]] = WeakKeyDictionary()


def quick(check: Callable[..., Any], test: str, *constants: object) -> None:
    """Say that ``check`` accepts whatever makes ``test`` true, at any time."""
    _QUICK[check] = Quick(test, constants)


def same_as(check: Callable[..., Any], other: Callable[..., Any]) -> None:
    """Say that ``check`` accepts at least what is quickly seen of ``other``."""
    if other in _QUICK:
        _QUICK[check] = _QUICK[other]


def one_of_many(check: Callable[..., Any], item: Callable[..., Any]) -> None:
    """Say that ``check`` accepts a list of one that ``item`` accepts."""
    inner = _QUICK.get(item)
    first = "{v}[0]"
    if inner is None:
        quick(check, f"(type({{v}}) is list and len({{v}}) == 1 and {{0}}({first}, scope) is None)", item)
    else:
        test = inner.test.replace("{v}", first)
        quick(check, f"(type({{v}}) is list and len({{v}}) == 1 and {test})", *inner.constants)


Plan = Callable[[dict[str, Any], Any], bool]


def compiled(tests: Sequence[Callable[..., Any]], rules: Sequence[Callable[..., Any]]) -> Plan:
    """Return whether the values of an object pass ``tests``, in their order, and the object all ``rules``."""
    names: dict[str, object] = {}

    def name(value: object) -> str:
        made = f"k{len(names)}"
        names[made] = value
        return made

    values = [f"v{index}" for index in range(len(tests))]
    parts: list[str] = []
    for value, test in (*zip(values, tests, strict=True), *(("value", rule) for rule in rules)):
        known = _QUICK.get(test)
        called = f"{name(test)}({value}, scope) is None"
        if known is None:
            parts.append(called)
        else:
            constants = [name(constant) for constant in known.constants]
            parts.append(f"({known.test.format(*constants, v=value)} or {called})")
    source = (
        "def plan(value, scope):\n    types = scope.types\n"
        f"    {', '.join(values)}{',' if values else '()'} = value.values()\n"
        f"    return {' and '.join(parts) or 'True'}\n"
    )
    exec(compile(source, "<plan>", "exec"), names)  # the text is ours: names and templates alone
    plan: Any = names["plan"]
    return plan  # type: ignore[no-any-return]
