"""A talk on a terminal: one question after the other, a draft after each answer, the note and the signature last."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Protocol

from lda_notes.chart.answers.answered import Answered
from lda_notes.chart.form import Form, Review, Say
from lda_notes.chart.questions import kits
from lda_notes.chart.questions.question import EACH
from lda_notes.chart.talk import COMMANDS, Talk
from lda_notes.chart.terminal import display, drafts
from lda_notes.chart.terminal.drafts import Draft
from lda_notes.problems import Failure
from lda_notes.record.writer import Again, Changed, Seen, Written


class Console(Protocol):
    """Where a session shows rows of text and takes rows of text."""

    def show(self, text: str) -> None:
        """Show text, which may be several rows."""

    def ask(self) -> str | None:
        """Return the row that was typed; None when nobody can type any more."""


class Gone(Exception):
    """Nobody answers any more: the terminal is lost, or the nurse stopped. What was said is in the draft."""


Write = Callable[[dict[str, Any], Again | None], Written | Changed]
"""Adds an entry to its record; the second argument judges it again when the record has changed."""


@dataclass
class Session:
    """One entry being charted. ``draft`` is where the answers are kept meanwhile, None for nowhere.

    ``asks`` is False where nothing may be asked: then only what is given counts, and what is missing is a `Failure`.
    ``sign`` is a signature given beforehand.
    """

    form: Form
    console: Console
    draft: Path | None
    given: dict[str, str]
    began: datetime
    asks: bool = True
    sign: str | None = None
    record: str = ""
    about: str = ""
    """Where it will be written and what is charted, for the list of drafts."""
    by_initials: bool = False
    """Whether a bare y never signs, as on a login that several nurses share."""
    round: bool = False
    """Whether the list of the unit is behind it: from the first question < leads back there."""
    missing: list[str] = field(default_factory=list)
    kit: str = ""
    """The name under which the nurse keeps what the entry used as a kit, once it is signed."""
    signed: Mapping[str, Any] = field(default_factory=dict)
    _not_heard: bool = field(default=False, init=False)
    _no_room: bool = field(default=False, init=False)
    _replies: list[str] | None = field(default=None, init=False)
    """Replies given since the note was shown, repeated below the next one, where the nurse is looking."""

    # -- the questions --

    def chart(self, talk: Talk, write: Write) -> Written | None:
        """Ask, show, have it signed and write it; None when the draft is kept for later. Raises `Gone`."""
        while True:
            talk = self._converse(talk)
            signed = self._signed(talk)
            if isinstance(signed, Talk):
                talk = signed
            elif signed is None:
                return None
            else:
                self._save(talk, signed)
                self.signed = signed
                done = write(signed, None if self.asks else self._again(talk))
                if isinstance(done, Written):
                    if self.draft is not None:
                        drafts.discard(self.draft)
                    return done
                if not self.asks:
                    raise Failure("the record changed meanwhile and the entry no longer fits it; nothing was written")
                self._moved_on(done)
                talk = Talk(self.form, talk.answered)
                self._save(talk)

    def _converse(self, talk: Talk) -> Talk:
        while True:
            question = talk.question
            if question is None:
                if not self.given:
                    self._refuse_if_missing()
                    return talk
                talk = self._set(talk)
                continue
            if question.name not in self.given and any(name in self.given for name in question.covers):
                # Some of its facts are given one by one: then each is asked by itself.
                talk = replace(talk, answered=(*talk.answered, Answered(question.name, (), "each by itself")))
                continue
            text = self.given.pop(question.name, None)
            if text is not None:
                talk = self._replay(talk, question.name, text)
            elif not self.asks:
                talk = self._unasked(talk)
            else:
                self.console.show(f"\n{display.question_text(question)}")
                talk = self._said(talk, self._ask())
                while self._not_heard and talk.question is not None:  # the question still stands right above
                    talk = self._said(talk, self._ask())

    def _ask(self) -> str:
        text = self.console.ask()
        if text is None:
            raise Gone
        return text

    def _said(self, talk: Talk, text: str) -> Talk:
        if self.round and text.strip() == "<" and not talk.answered and talk.added is None and talk.doubt is None:
            raise Gone
        new, says = talk.reply(text)
        for say in says:
            self._reply(display.said_text(say))
        self._not_heard = any(say.tone in ("fault", "doubt") for say in says)
        if new.answered != talk.answered:
            self._save(new)
        return new

    def _reply(self, text: str) -> None:
        self.console.show(text)
        if self._replies is not None:
            self._replies.append(text)

    def _replay(self, talk: Talk, name: str, text: str) -> Talk:
        """Answer as if it had been typed; what is doubted stands, since nobody can be asked twice for it."""
        question = talk.question
        assert question is not None
        self.console.show(f"\n{display.question_text(question)}\n> {text}")
        new = self._said(talk, text)
        if new.doubt is not None:
            new = self._said(new, "y")
        if len(new.answered) == len(talk.answered) and not self.asks:
            fault = next((say.text for say in talk.reply(text)[1] if say.tone == "fault"), "it was not understood")
            raise Failure(f"{name}: {fault} Nothing was written")
        return new

    def _unasked(self, talk: Talk) -> Talk:
        """Take what Enter would take; else leave the question open and name it."""
        question = talk.question
        assert question is not None
        if question.default is not None:
            return self._replay(talk, question.name, "")
        if EACH in {option.key for option in question.options} and question.covers:
            return self._replay(talk, question.name, EACH)
        levels = {need.level for need in question.needs}
        again = any(one.question == question.name for one in talk.answered)  # nothing else is asked without it
        if question.needed or not levels or "required" in levels or again:
            self.missing.append(f"{question.name}: {question.asks}")
        if again:
            self._refuse_if_missing()
        return replace(talk, answered=(*talk.answered, Answered(question.name, (), "left open")))

    def _refuse_if_missing(self) -> None:
        if self.missing:
            missing = dict.fromkeys(self.missing)
            rows = "\n".join(f"  {row}" for row in missing)
            one = len(missing) == 1
            counted = "1 answer is missing; give it" if one else f"{len(missing)} answers are missing; give them"
            raise Failure(f"nothing was written, {counted} with --set NAME=VALUE:\n{rows}")

    def _set(self, talk: Talk) -> Talk:
        """Set what was given and never asked for."""
        left = dict(self.given)
        self.given.clear()
        for name, text in left.items():
            new, says = talk.reply(f"= {name} {text}")
            faults = [say.text for say in says if say.tone == "fault"]
            if faults:
                raise Failure(f"{name}: {faults[0]} Nothing was written")
            for say in says:
                self.console.show(display.said_text(say))
            talk = new
            self._save(talk)
        return talk

    # -- the signature --

    def _signed(self, talk: Talk) -> dict[str, Any] | Talk | None:
        """Show the note and ask for the signature: the event, the talk gone on, or None to keep the draft."""
        review = self.form.review(talk.facts)
        self.console.show("\n" + review.text.rstrip("\n"))
        for finding in review.findings:
            self.console.show(display.said_text(Say("finding", display.found_words(finding), finding)))
        author = review.author
        name = ", ".join(str(author[key]) for key in ("name", "credential") if author.get(key))
        initials = "".join(word[0] for word in str(author.get("name", "")).split())
        grave = [finding for finding in review.findings if finding.severity in ("unsafe", "wrong")]
        # What is unsafe is read, not waved through: a nurse who is asked signs it with more than the usual letter.
        deliberate = (bool(grave) or self.by_initials) and bool(initials) and self.sign is None
        gaps = any(finding.severity == "gap" for finding in review.findings)
        open_ = gaps and talk.reopened().answered != talk.answered
        for warning in review.warnings:
            self.console.show(display.said_text(Say("hold", warning)))
        if self._replies:
            self.console.show("\n".join(("", "Since the note was last shown:", *self._replies[-_MOST_REPLIES:])))
        self._replies = []
        kit = bool(kits.of_entry(review.entry))
        while True:
            text = self._signature(name, initials, len(grave) if deliberate else 0, deliberate, open_, kit)
            match text.strip().casefold():
                case "y" | "yes" if deliberate and len(initials) > 1:
                    self.console.show(f"?? y does not sign here: type your initials ({initials}), or < to go back.")
                case "y" | "yes":
                    return review.entry
                case said if said and said == initials.casefold():
                    return review.entry
                case "q":
                    return None
                case "g" if open_:
                    return talk.reopened()
                case said if said.startswith("k ") and said[2:].strip():
                    self.kit = " ".join(text.split()[1:])
                    kept = kits.said(kits.of_entry(review.entry))
                    self.console.show(f"Your kit {self.kit}, once this is signed: {kept}.")
                case "?":
                    self.console.show("\n".join(COMMANDS))
                case said if said[:1] in ("<", "+", "=", ">"):
                    new = self._said(talk, text)
                    if new.answered != talk.answered or new.question is not None:
                        return new
                case _ if not self.asks:
                    raise Failure("the signature given is not the author's initials; nothing was written")
                case _:
                    signs = f"{'' if deliberate else 'y or '}{initials} to sign" if name else "y to write it"
                    self.console.show(f"?? Type {signs}, < to go back, q to keep it as a draft.")

    def _signature(self, name: str, initials: str, grave: int, deliberate: bool, gaps: bool, kit: bool) -> str:
        if self.sign is not None:
            text, self.sign = self.sign, None
            return text
        if not self.asks:
            raise Failure("nothing was written: give --sign with your initials, or y")
        signs = initials if deliberate and len(initials) > 1 else f"y or {initials}"
        who = f"Sign as {name}? {signs} signs" if name else "Write it? y writes"
        if grave:
            counted = "1 finding above is" if grave == 1 else f"{grave} findings above are"
            who = f"{counted} unsafe or contradictory.\n{who}"
        missing = "  g asks what is missing above\n" if gaps else ""
        keeps = "   k NAME keeps a kit" if kit else ""
        self.console.show(f"\n{who}\n{missing}  < goes back   + adds a fact   q keeps it as a draft{keeps}")
        return self._ask()

    # -- the draft, and a record that changed --

    def _save(self, talk: Talk, signed: dict[str, Any] | None = None) -> None:
        if self.draft is None:
            return
        try:
            about = (self.record, self.about, _author(self.form, talk.facts))
            drafts.save(self.draft, Draft(self.form.entry_id, self.began, talk.answered, signed, *about))
        except Failure as failure:
            if not self._no_room:
                self.console.show(
                    f"?? No draft can be kept: {failure}. You can continue and sign, but do not stop in between."
                )
            self._no_room = True

    def _again(self, talk: Talk) -> Again:
        """Return what adds the entry to a changed record after all, where nobody can be asked: if it fits as before."""
        before = _serious(self.form.review(talk.facts))

        def judged(seen: Seen) -> dict[str, Any] | None:
            for row in self.form.moved_on(seen):
                self.console.show(f"The record changed meanwhile: {row}")
            review = self.form.review(talk.facts)
            return review.entry if _serious(review) <= before else None

        return judged

    def _moved_on(self, changed: Changed) -> None:
        if changed.seen.record.episode is None:
            raise Failure("the record was changed and can no longer be read; your answers are kept as a draft")
        self.console.show("\nThe record changed while you charted. Nothing is written yet.")
        for row in self.form.moved_on(changed.seen):
            self.console.show(f"   {row}")
        self.console.show("Read it again as it is now before you sign.")


_MOST_REPLIES: Final = 8
"""Replies that are said again at the signature: with it they fit on a screen of 24 rows."""


def _author(form: Form, facts: Mapping[str, Any]) -> str:
    """Return the name of who charts, as far as it was said: in the entry, or in the first one of a visit."""
    said = (
        facts.get("by"),
        *(part.get("by") for part in facts.values() if isinstance(part, Mapping)),
        form.given.get("by"),
    )
    return next((str(by["name"]) for by in said if isinstance(by, Mapping) and by.get("name")), "")


def _serious(review: Review) -> frozenset[str]:
    """Return the rules that find something unsafe or contradictory."""
    return frozenset(finding.rule for finding in review.findings if finding.severity in ("unsafe", "wrong"))
