"""From a record's facts to the sentences of a note, by templates, which are compiled and run here.

A template is found by the kind of its event (``de-access.jinja``); a folder of the user's own may replace any of them.
Templates run sandboxed within a closed grammar (`grammar`), see plain values by subscript (`facts`), and
their tags (`tags`) keep for every sentence the facts that it rests on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from pathlib import Path as FilePath
from typing import Any, Final
from zoneinfo import ZoneInfo

from jinja2 import (
    ChoiceLoader,
    FileSystemLoader,
    StrictUndefined,
    TemplateError,
    TemplateNotFound,
    TemplateSyntaxError,
    UndefinedError,
    pass_context,
)
from jinja2.runtime import Context, Undefined
from jinja2.sandbox import SandboxedEnvironment

from lda_notes.files.resources import folder
from lda_notes.narrative import phrasing
from lda_notes.narrative.facts import Computed, Facts, NotRecorded, UnknownFact, WhyNot, Words
from lda_notes.narrative.grammar import ClosedGrammar
from lda_notes.narrative.sentences import Paragraph
from lda_notes.narrative.tags import MOST_TEXT, Gathering, Tags, TemplateMistake
from lda_notes.problems import Failure, Path

Left = Callable[[list[Path]], list[Computed]]
"""Given the paths read so far, returns what no sentence has said yet."""


@dataclass(frozen=True, slots=True)
class View:
    """All that a template may read. Every group shares ``told``, to which each read adds its path."""

    event: Facts
    patient: Facts
    port: Facts
    stay: Facts
    computed: Computed
    told: list[Path]
    zone: ZoneInfo
    reasons_left: Left
    facts_left: Left


class Narrator:
    """Writes narratives from the templates of one folder, applied over those that come with the program."""

    def __init__(self, templates: FilePath | None = None) -> None:
        """Raise `Failure` when ``templates`` is not a folder."""
        if templates is not None and not templates.is_dir():
            raise Failure(f"{templates}: is not a folder; give the folder that contains the templates")
        self._folders = tuple(str(place) for place in (templates, folder("note_templates")) if place is not None)
        self._environment = _environment(self._folders)

    def narrate(self, kind: str, view: View) -> tuple[Paragraph, ...]:
        """Return the narrative of an event of ``kind``.

        Raises `Failure`, in one sentence with template and row, when the template is at fault.
        """
        name = f"{kind.replace(' ', '-')}.jinja"
        today = phrasing.local(view.event["at"], view.zone).date()
        view.told.clear()
        gathering = Gathering(view.told, view.zone, today)
        try:
            template = self._environment.get_template(name)
            template.render(
                event=view.event,
                patient=view.patient,
                port=view.port,
                stay=view.stay,
                computed=view.computed,
                why=_why,
                each=lambda group, key: gathering.turn(_group(group).each(key)),
                reasons_left=lambda: gathering.turn(view.reasons_left(_so_far(gathering))),
                facts_left=lambda: gathering.turn(view.facts_left(_so_far(gathering))),
                _gathering=gathering,
            )
        except Exception as error:
            raise self._fault(name, error) from None
        return tuple(gathering.paragraphs)

    def _fault(self, name: str, error: Exception) -> Failure:
        if isinstance(error, TemplateSyntaxError):
            return Failure(f"{error.filename or error.name or name} row {error.lineno}: {_said(error)}")
        if isinstance(error, TemplateNotFound):
            return Failure(f"{error.name}: there is no such template; note templates are named after the event kind")
        place = name
        trace = error.__traceback__
        while trace is not None:
            if trace.tb_frame.f_code.co_filename.startswith(self._folders):
                place = f"{trace.tb_frame.f_code.co_filename} row {trace.tb_lineno}"
            trace = trace.tb_next
        return Failure(f"{place}: {_said(error)}")


@lru_cache(maxsize=8)
def narrator(templates: FilePath | None = None) -> Narrator:
    """Return the narrator of a folder of templates, made once."""
    return Narrator(templates)


def _so_far(gathering: Gathering) -> list[Path]:
    written = [
        path for paragraph in gathering.paragraphs for sentence in paragraph.sentences for path in sentence.facts
    ]
    return [*written, *(path for sentence in gathering.sentences for path in sentence.facts)]


def _group(value: Any) -> Facts | Computed:
    if not isinstance(value, Facts | Computed):
        raise TemplateMistake("each(...) takes a group of facts and the name of a list in it")
    return value


def _why(value: Any) -> WhyNot:
    if not isinstance(value, Facts):
        raise TemplateMistake("why(...) takes a group of facts")
    return value.why()


def _said(error: Exception) -> str:
    """Say in one sentence what is wrong with a template."""
    match error:
        case NotRecorded():
            return (
                f"names {_dotted(error.path)} outside a sentence, and it was not recorded; "
                "move it into a sentence, which leaves itself out when a fact is missing"
            )
        case UnknownFact() | TemplateMistake():
            return str(error)
        case UndefinedError():
            return f"{error.message}; correct the name"
        case TemplateSyntaxError():
            return (error.message or "cannot be understood").rstrip(".")
        case TemplateError():
            return error.message or "cannot be used"
        case RecursionError():
            return "is nested too deeply"
        case UnicodeDecodeError():
            return "is not UTF-8 text"
        case _:
            return f"gives a filter or a comparison what it cannot take ({type(error).__name__})"


def _dotted(path: Path) -> str:
    return ".".join(str(step) for step in path if isinstance(step, str) and step != "events")


# -- the environment --


def _take(value: Any, key: Any) -> Any:
    """Take a value by subscript: the whole of what a template may reach."""
    kind = type(value)
    if kind is Facts or kind is WhyNot or kind is Computed:
        return value[key]
    if isinstance(value, str | int | Decimal | date):
        raise NotRecorded((str(key),))  # recorded in another form, such as "none used"
    if kind is dict:
        if key in value:
            return value[key]
        raise TemplateMistake(f"has no words for {key}")
    if isinstance(value, Undefined):
        return value[key]  # raises, naming what is undefined
    raise TemplateMistake("takes a subscript of something that has none")


class _Closed(SandboxedEnvironment):
    """Sandboxed, and subscripts reach facts alone, never attributes."""

    code_generator_class = ClosedGrammar

    def getitem(self, obj: Any, argument: Any) -> Any:
        """Take a value by subscript; attributes are out of reach."""
        return _take(obj, argument)


def _environment(folders: tuple[str, ...]) -> _Closed:
    environment = _Closed(
        loader=ChoiceLoader([FileSystemLoader(place) for place in folders]),
        undefined=StrictUndefined,
        autoescape=False,  # the text is not markup yet: render escapes it for each format
        auto_reload=False,
        finalize=_printable,
        extensions=[Tags],
    )
    environment.globals.clear()
    environment.tests.clear()
    environment.filters.clear()
    environment.filters.update(FILTERS)
    return environment


def _printable(value: Any) -> Any:
    """Let through words and numbers; free text, times and groups need a filter that says how to print them."""
    kind = type(value)
    if kind is str:
        return phrasing.printed(value)
    if kind is Decimal or kind is int:
        return phrasing.number(Decimal(value))
    if kind is Words:
        raise TemplateMistake("prints free text of the record bare; put | typed or | name behind it")
    if isinstance(value, Undefined):
        return str(value)  # raises, naming what is undefined
    what = "yes or no" if kind is bool else "a time or date" if isinstance(value, date | timedelta) else "a group"
    raise TemplateMistake(f"prints {what}, which needs a filter or a choice of words")


# -- filters --


def _typed(text: Any) -> str:
    if isinstance(text, WhyNot):  # a group of facts: no reason why not was recorded in its place
        raise NotRecorded(text.path)
    if not isinstance(text, str):
        raise TemplateMistake("prints as typed words what is not text")
    return phrasing.typed(str(text))


def _name(text: str) -> str:
    return phrasing.on_one_row(str(text))


def person(who: Facts) -> str:
    """Return a person as name, credential and identifier, as far as recorded; `NotRecorded` if nothing is."""
    said = {key: _name(who[key]) for key in ("name", "credential") if who.get(key)}
    said["credential"] = phrasing.role(said.get("name"), said.get("credential")) or ""
    names = [words for words in said.values() if words]
    identifier = who.get("id")
    if identifier:
        names = [f"{', '.join(names)} ({_name(identifier)})"] if names else [_name(identifier)]
    if not names:
        who["name"]  # raises NotRecorded
    return ", ".join(names)


def called(who: Facts) -> str:
    """Return a person by name and credential; where no name was recorded, as `person` does."""
    if not who.get("name"):
        return person(who)
    name = _name(who["name"])
    credential = phrasing.role(name, who.get("credential"))
    return f"{name}, {_name(credential)}" if credential else name


def _capital(text: Any) -> str:
    made = phrasing.capital(str(text))
    return made if phrasing.on_one_row(made) == made else str(text)  # what began like a row of ours stays small


def _listed(items: Any, last: str = "and") -> str:
    if isinstance(items, str):
        items = (items,)
    said = phrasing.listed([phrasing.typed(str(item)) if type(item) is Words else str(item) for item in items], last)
    if len(said) > MOST_TEXT:
        raise TemplateMistake("writes too much text")
    return said


def _timed(said: Callable[[datetime, ZoneInfo, date], str]) -> Callable[[Context, datetime | date], str]:
    """Return the filter that says a moment in the zone of the stay, seen from the day of the event."""

    @pass_context
    def filtered(context: Context, value: datetime | date) -> str:
        if not isinstance(value, datetime):
            return f"{phrasing.day(value)} (hour not known)"
        gathering: Gathering = context["_gathering"]
        return said(value, gathering.zone, gathering.today)

    return filtered


_clock: Final = _timed(phrasing.clock)


@pass_context
def _at(context: Context, value: datetime | date) -> str:
    """Return the time with its preposition: "at 09:40"; of another day "on 3 March 2031 at 09:40"."""
    said = _clock(context, value)
    day, comma, time = said.rpartition(", ")
    if comma:
        return f"on {day} at {time}"
    return f"at {said}" if said[2:3] == ":" else f"on {said}"


FILTERS: Final[Mapping[str, Callable[..., Any]]] = {
    "at": _at,
    "article": lambda text: phrasing.article(str(text)),
    "called": called,
    "capital": _capital,
    "clock": _clock,
    "count": lambda items: len(items),
    "day": phrasing.day,
    "joined": lambda items: "; ".join(items),
    "length": phrasing.length,
    "listed": _listed,
    "moment": _timed(lambda value, zone, _: phrasing.clock(value, zone)),
    "name": _name,
    "near": _timed(phrasing.near),
    "ordinal": phrasing.ordinal,
    "person": person,
    "quantity": lambda value, unit: phrasing.quantity(Decimal(value), unit),
    "typed": _typed,
    "span": phrasing.span,
}
"""Every filter that a template may use."""
