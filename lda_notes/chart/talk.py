"""The talk: takes what was typed, gives what is said back and the next question. Values only; no terminal, no file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any, Final

from lda_notes.chart.answers import layout, values
from lda_notes.chart.answers.answered import Answered
from lda_notes.chart.answers.heard import Doubtful, Heard, Reading, Unclear
from lda_notes.chart.form import Form, Say
from lda_notes.chart.questions.by_name import THAT_IS_ALL
from lda_notes.chart.questions.question import Question
from lda_notes.files.syntax.text import HIDDEN
from lda_notes.narrative import phrasing
from lda_notes.problems import Path

COMMANDS: Final = (
    "?  explains the question",
    "<  goes back one answer   >  returns to where you were",
    "-  and a reason: not assessed, or not done   .  leaves it open",
    "+  and a word adds a fact, or changes one: + remarks, + needle lot",
)
"""Commands that may be typed at any question instead of an answer."""


_OPEN: Final = Heard((), "left open")

_AS_OFFERED: Final = frozenset({"ok", "okay", "same", "as before", "y", "yes"})
"""Words that take what Enter would take: typed where words are asked for, they are no order and no reason."""


@dataclass(frozen=True)
class Talk:
    """Where a talk stands. ``kept`` contains the answers taken back by going back: Enter says them again."""

    form: Form
    answered: tuple[Answered, ...] = ()
    kept: Mapping[str, Answered] = field(default_factory=lambda: MappingProxyType({}))
    doubt: Answered | None = None
    added: Question | None = None

    @cached_property
    def facts(self) -> dict[str, Any]:
        """Return every fact said so far, as one nested value."""
        return layout.fold(fact for one in self.answered for fact in one.facts)

    @cached_property
    def question(self) -> Question | None:
        """Return the question to be answered next; None when everything is asked."""
        found = self.added or next(self.form.questions(self.facts, self._names), None)
        if found is None or found.name not in self.kept:
            return found
        if found.default is not None and found.default.said == THAT_IS_ALL:
            return found  # whoever went back to say no more says so with Enter
        before = self.kept[found.name]
        return replace(found, default=Heard(before.facts, before.said))

    @property
    def _names(self) -> frozenset[str]:
        return frozenset(one.question for one in self.answered)

    def reply(self, text: str) -> tuple[Talk, tuple[Say, ...]]:
        """Take what was typed: an answer or one of the commands."""
        said = text.strip()
        if HIDDEN.search(said) and not values.looks_like_label(said):
            return self, (
                Say(
                    "fault", "That contains a character that cannot be seen, such as an arrow key sends. Type it again."
                ),
            )
        match said[:1]:
            case "?":
                return self, (Say("explain", explanation(self.question)),)
            case "<":
                return self._back()
            case ">":
                return self._on()
            case "=" if len(said) > 1 and not values.looks_like_label(said):
                return self._set(said[1:])
            case "+" if len(said) > 1 and not said[1].isdigit() and not values.looks_like_label(said):
                return self._add(said[1:])
            case _:
                return self._answer(said)

    def reopened(self) -> Talk:
        """Return the talk with what was left open asked again."""
        kept = tuple(one for one in self.answered if one.facts or one.said != _OPEN.said)
        return replace(self, answered=kept, doubt=None, added=None)

    # -- an answer --

    def _answer(self, said: str) -> tuple[Talk, tuple[Say, ...]]:
        question = self.question
        if question is None:
            return self, (Say("fault", "Everything is asked."),)
        if self.doubt is not None and said.casefold() in ("y", "yes"):
            return self._take(self.doubt)
        clear = replace(self, doubt=None)
        if question.supply is not None and values.looks_like_label(said):
            return clear._scanned(said, question.supply)
        if said == "." and question.covers and not question.needed:
            return clear._leave_open(question)
        reading = clear._read(said, question)
        if isinstance(reading, Unclear):
            return clear, (Say("fault", reading.sentence),)
        heard = reading.heard if isinstance(reading, Doubtful) else reading
        answer = Answered(question.name, heard.facts, heard.said)
        misfit = self.form.misfit(self._with(answer), tuple(path for path, _ in heard.facts))
        if misfit is not None:
            return clear, (Say("fault", misfit),)
        doubt = self.form.doubts(self.facts, heard)
        if isinstance(reading, Doubtful) and not isinstance(doubt, Unclear):
            doubt = reading
        if isinstance(doubt, Unclear):
            return clear, (Say("fault", doubt.sentence),)
        if doubt is not None:
            meant = Answered(question.name, doubt.heard.facts, doubt.heard.said)
            sentence = f"{doubt.sentence} Type y if that is right, or answer again."
            return replace(clear, doubt=meant), (Say("doubt", sentence),)
        return clear._take(answer, question, heard.brief)

    def _read(self, said: str, question: Question) -> Reading:
        frame = self.form.frame(self.facts, question.name)
        if not said or (said.casefold() in _AS_OFFERED and question.default is not None and not question.options):
            if question.default is not None:
                return question.default
            return Unclear("An answer is required. Type . to leave it open, ? for an explanation.")
        if said == ".":
            return Unclear("An entry needs this; it cannot be left open.") if question.needed else _OPEN
        if said.startswith("-") and not said[1:2].isdigit():
            return _reason(said[1:].strip(), question)
        return question.read(said, frame)

    def _leave_open(self, question: Question) -> tuple[Talk, tuple[Say, ...]]:
        """Leave open every fact that a question stands for: none of them is asked again by itself."""
        left = tuple(Answered(name, (), _OPEN.said) for name in question.covers)
        kept = {name: one for name, one in self.kept.items() if name != question.name}
        talk = Talk(self.form, (*self.answered, *left), MappingProxyType(kept))
        about = phrasing.capital(question.about)
        return talk, (Say("heard", f"{about}: {_OPEN.said}."), *self.form.remarks(self.facts, talk.facts))

    def _with(self, answer: Answered) -> dict[str, Any]:
        return layout.fold(answer.facts, onto=self.facts)

    def _take(
        self, answer: Answered, question: Question | None = None, brief: str = ""
    ) -> tuple[Talk, tuple[Say, ...]]:
        question = question or self.question
        before = self.kept.get(answer.question)
        other = before is not None and before.facts != answer.facts
        # What was said of the parts of another answer is not offered for this one: hives of heparin for peanuts.
        kept = {
            name: one
            for name, one in self.kept.items()
            if name != answer.question and not (other and name.startswith(f"{answer.question}."))
        }
        talk = Talk(self.form, (*self.answered, answer), MappingProxyType(kept))
        about = phrasing.capital(question.about) if question is not None else ""
        said = Say("heard", f"{about}: {brief or answer.said}." if about else f"{answer.said}.")
        return talk, (said, *self.form.remarks(self.facts, talk.facts))

    # -- commands --

    def _back(self) -> tuple[Talk, tuple[Say, ...]]:
        if self.added is not None or self.doubt is not None:
            return replace(self, added=None, doubt=None), ()
        if not self.answered:
            return self, (Say("fault", "This is the first question; Ctrl-C stops."),)
        last = self.answered[-1]
        kept = MappingProxyType({**self.kept, last.question: last})
        return Talk(self.form, self.answered[:-1], kept), (Say("tell", f"Back. You had said: {last.said}."),)

    def _on(self) -> tuple[Talk, tuple[Say, ...]]:
        talk = replace(self, doubt=None)
        count = 0
        while (question := talk.question) is not None and question.name in talk.kept:
            talk, _ = talk._take(talk.kept[question.name], question)
            count += 1
        if not count:
            return self, (Say("fault", "Nothing was taken back."),)
        answers = phrasing.count(count, "answer")
        return talk, (Say("tell", f"{answers} restored."), *self.form.remarks(self.facts, talk.facts))

    def _set(self, text: str) -> tuple[Talk, tuple[Say, ...]]:
        name, _, value = text.strip().partition(" ")
        reading = self.form.setting(name, value.strip(), self.facts)
        if isinstance(reading, Unclear):
            return self, (Say("fault", reading.sentence),)
        heard = reading.heard if isinstance(reading, Doubtful) else reading
        answer = Answered(name, heard.facts, heard.said)
        misfit = self.form.misfit(self._with(answer), tuple(path for path, _ in heard.facts))
        if misfit is not None:
            return self, (Say("fault", misfit),)
        return self._told(answer, Say("heard", f"{heard.brief or name}: {heard.said}."))

    def _add(self, text: str) -> tuple[Talk, tuple[Say, ...]]:
        found = self.form.adding(text.strip(), self.facts)
        match found:
            case Unclear():
                return self, (Say("fault", found.sentence),)
            case Heard():
                answer = Answered("+" + text.strip(), found.facts, found.said)
                return replace(self, answered=(*self.answered, answer), doubt=None), (Say("tell", found.said),)
            case Question():
                return replace(self, added=found, doubt=None), ()

    def _scanned(self, said: str, part: Path) -> tuple[Talk, tuple[Say, ...]]:
        frame = self.form.frame(self.facts, "scan")
        label = values.read_label(said, part, frame, self.form.takes)
        if isinstance(label, Unclear):
            return self, (Say("fault", label.sentence),)
        answer = Answered(f"{layout.dotted(part)}, scanned", label.facts, label.said)
        return self._told(answer, Say("heard", f"Label: {label.said}."))

    def _told(self, answer: Answered, say: Say) -> tuple[Talk, tuple[Say, ...]]:
        """Take in facts that answer no question, and say so."""
        talk = replace(self, answered=(*self.answered, answer), doubt=None)
        return talk, (say, *self.form.remarks(self.facts, talk.facts))


def _reason(reason: str, question: Question) -> Reading:
    why_not = question.why_not
    if why_not is None:
        return Unclear('"Not done" and "not assessed" do not apply here. Answer it, or type . to leave it open.')
    if not reason:
        return Unclear(f"Type the reason after the dash, such as: - patient asleep. It is kept as {why_not.said}.")
    return Heard((((*why_not.path, why_not.key), reason),), f"{why_not.said}: {reason}")


def explanation(question: Question | None) -> str:
    """Return what a question is about, who asks for it, and what may be typed."""
    if question is None:
        return "Everything is asked."
    rows = [f"{says}" for says in dict.fromkeys(question.explains)]
    cited = dict.fromkeys(cited.text() for need in question.needs for cited in need.citations)
    levels = {need.level for need in question.needs}
    if cited:
        asks = "Required" if "required" in levels else "Recommended"
        rows.append(f"{asks} by: {'; '.join(cited)}.")
    if question.why_not is not None:
        rows.append(f"A reason after a dash is kept as {question.why_not.said}.")
    return "\n".join((*rows, *COMMANDS))
