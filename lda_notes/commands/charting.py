"""One charting session on the terminal: the draft offered first, what is said kept, the end reported."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from contextlib import nullcontext, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import click

from lda_notes.chart.answers.heard import Unclear, Value
from lda_notes.chart.answers.values import Option, person
from lda_notes.chart.form import Basis, Form
from lda_notes.chart.questions import kits
from lda_notes.chart.talk import Talk
from lda_notes.chart.terminal import drafts
from lda_notes.chart.terminal.drafts import Draft
from lda_notes.chart.terminal.session import Gone, Session, Write
from lda_notes.commands import charting_options as clocks
from lda_notes.commands.console import Terminal, plain
from lda_notes.commands.printing import say
from lda_notes.files.syntax.text import HIDDEN
from lda_notes.knowledge.policy import Policy
from lda_notes.narrative import phrasing
from lda_notes.problems import Failure
from lda_notes.record.writer import Again, Changed, Seen, Written, refuse_unless_writable


@dataclass(frozen=True, slots=True)
class Means:
    """Conditions of charting an entry, apart from its record: policy, clock, answers given beforehand, signature."""

    policy: Policy
    now: Callable[[], datetime]
    given: dict[str, str]
    asks: bool
    sign: str | None
    judged_from: datetime | None
    round: bool = False
    """Whether it is an entry of a round, from which the list is a step back."""

    @property
    def shared(self) -> bool:
        """Whether several nurses share this login."""
        return self.policy.choice("login_shared") == "yes"


@dataclass
class Desk:
    """Where a session is held. ``about`` says what is charted, so that each has a draft of its own."""

    about: str
    record: Path
    means: Means

    def __post_init__(self) -> None:
        self.terminal = Terminal()
        self.signed: Mapping[str, Any] = {}

    def show(self, text: str) -> None:
        """Show rows of text."""
        self.terminal.show(text)

    def run(self, form: Form, write: Write) -> Written | None:
        """Run the session to its end; None when a draft is kept instead."""
        means = self.means
        at = drafts.place(drafts.folder(os.environ), self.record, self.about) if means.asks else None
        with drafts.held(at) if at is not None else nullcontext():
            talk = self._begun(form, at)
            where = (str(self.record.resolve()), self.about)
            given, now = dict(means.given), means.now()
            session = Session(
                form, self.terminal, at, given, now, means.asks, means.sign, *where, means.shared, means.round
            )
            try:
                done = session.chart(talk, write)
            except (Gone, KeyboardInterrupt):
                self.show(f"\nStopped. {_left(at)}")
                raise click.exceptions.Exit(130) from None
            except Failure as failure:
                if _kept(at) is not None:
                    said = f"{failure}. What you said is kept as a private draft; run it again to continue"
                    raise Failure(said, failure.code) from None
                raise
            self.signed = session.signed
            if done is not None and session.kit:
                who = str(_first(session.signed).get("by", {}).get("name") or "") if means.shared else ""
                kits.keep(kits.place(os.environ), session.kit, kits.of_entry(session.signed), who)
                self.show(f"Your kit {session.kit} is kept, for you alone.")
            if done is None:
                self.show("Nothing was written; what you said is kept as a private draft. Run it again to continue.")
            return done

    def _begun(self, form: Form, at: Path | None) -> Talk:
        draft = drafts.load(at) if at is not None else None
        if draft is None or at is None:
            return Talk(form)
        if draft.signed is not None and form.written(dict(draft.signed)):
            self.show("Your last entry was signed and is in the record; its draft was left over and is gone now.")
            drafts.discard(at)
            return Talk(form)
        if not draft.answered or not self._goes_on(draft, str((form.given.get("by") or {}).get("name") or "")):
            drafts.discard(at)
            return Talk(form)
        return Talk(form, draft.answered)

    def _goes_on(self, draft: Draft, who: str) -> bool:
        """Ask whether the draft is continued; that somebody else began it is said first."""
        answers = phrasing.count(len(draft.answered), "answer")
        last = draft.answered[-1]
        by = f" by {draft.by}" if draft.by not in ("", who) else ""
        self.show(f"\nA draft of this {self.about}{by} contains {answers}; the last: {last.said}.")
        self.show("  Enter: continue it   n: discard it and start over")
        while True:
            text = self.terminal.ask()
            if text is None:
                raise click.exceptions.Exit(130)
            match text.strip().casefold():
                case "" | "y" | "yes":
                    return True
                case "n" | "no":
                    return False
                case _:
                    self.show("?? Press Enter to continue it, or type n to start over.")


def signer(facts: Mapping[str, Any], means: Means) -> Mapping[str, Any]:
    """Return ``facts`` with who charts, asked first where several nurses share the login.

    Her kits and her last words are offered then, and a draft has her name from its first answer.
    """
    if not means.asks or facts.get("by") or "by" in means.given:
        return facts
    known = kits.signers(kits.place(os.environ))
    if not means.shared and len(known) < _SEVERAL:
        return facts
    terminal = Terminal()
    offered = [Option(str(number), clocks.said_author({"by": by})) for number, by in enumerate(known, 1)]
    terminal.show("\nWho is charting? Name, role; a staff identifier may follow")
    for option in offered:
        terminal.show(f"  {option.key}: {option.words}")
    while True:
        text = terminal.ask()
        if text is None:
            raise click.exceptions.Exit(130)
        close = [by for option, by in zip(offered, known, strict=True) if _is(text, option, by)]
        if len(close) == 1:
            terminal.show("")
            return {**facts, "by": close[0]}
        found = _NOT_A_NAME if close or HIDDEN.search(text) or not _LETTERS.search(text) else person(text)
        if isinstance(found, Value):
            terminal.show("")
            return {**facts, "by": found.value}
        terminal.show(f"?? {found.sentence}")


_LETTERS: Final = re.compile(r"[^\W\d_]{2}")
_NOT_A_NAME: Final = Unclear("Type a number of the list, or a name and a role, such as: Marisol Tamm, RN.")
_SEVERAL: Final = 2


def _is(text: str, option: Option, by: Mapping[str, Any]) -> bool:
    """Return whether what was typed means a known signer: by number, name, initials or staff identifier."""
    said, name = " ".join(text.split()).casefold(), str(by.get("name", "")).casefold()
    return bool(said) and said in (
        *(option.key, name, "".join(word[0] for word in name.split())),
        *(str(by.get("id", "")).casefold(), option.words.casefold()),
    )


def opened(path: Path, facts: Mapping[str, Any], means: Means) -> tuple[Seen, Basis, tuple[str, ...]]:
    """Return a record as it was seen, what is charted on it, and in words which files beside it cannot be read."""
    from lda_notes import pipeline
    from lda_notes.record.writer import look

    seen = look(path)
    refuse_unless_writable(path)
    standing = seen.record.episode
    assert standing is not None
    beside = pipeline.beside([seen.record])
    others = pipeline.stays([seen.record], beside.records, means.policy, means.now())[0].others
    clock, unread = clocks.wall_clock, seen.record.unread_facts
    basis = Basis(standing, means.policy, means.now, facts, clock, unread, others)
    return (
        seen,
        basis,
        tuple(f"May be an earlier stay of this patient, and is not known here: {words}" for words in beside.unreadable),
    )


def chart_event(path: Path, tag: str, facts: Mapping[str, Any], means: Means, about: str = "") -> bool:
    """Chart one event of a kind, or a visit, in a record, with ``facts`` known beforehand; False for a draft kept."""
    from lda_notes.chart.event import EventForm
    from lda_notes.chart.terminal import display
    from lda_notes.chart.visit import IN, VisitForm

    facts = signer(facts, means)
    seen, basis, unreadable = opened(path, facts, means)
    if means.asks:
        at, who = kits.place(os.environ), str((facts.get("by") or {}).get("name") or "") if means.shared else ""
        own = kits.load(at, who) if who or not means.shared else {}
        basis = replace(basis, kits=own, last=kits.last_words(at))
    form = VisitForm(basis) if tag == drafts.VISIT else EventForm(basis, tag)
    first = form.step(IN, {}) if isinstance(form, VisitForm) else form
    desk = Desk(about or tag, path, means)
    for words in unreadable:
        desk.show(f"!! {words}")
    for row in display.opening(tag, seen.record, first.situation({}).line, means.now(), clocks.said_author(facts)):
        desk.show("\n".join(display.rows(row, "  ", "")))

    return signed_into(path, seen, desk, form)


def signed_into(path: Path, seen: Seen, desk: Desk, form: Form) -> bool:
    """Hold the talk, append what was signed to the record as it was ``seen``, and say so; False for a draft kept."""
    from lda_notes.record.writer import append

    def write(entry: dict[str, Any], again: Again | None) -> Written | Changed:
        nonlocal seen
        done = append(seen, entry, again, desk.means.judged_from)
        seen = done.seen
        return done

    done = desk.run(form, write)
    if done is None:
        return False
    if desk.means.asks and desk.signed and seen.record.episode is not None:
        patient = seen.record.episode.patient
        with suppress(Failure, OSError):  # the entry is written: that its words cannot be kept is not a fault of it
            kits.remember(kits.place(os.environ), desk.signed, (patient.family_name, patient.given_name))
    say(plain(f"{form.entry_id}: written to {path}; the state before is {done.copy.name}"))
    for note in done.notes:
        desk.show(note)
    return True


def _first(entry: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return an entry, or the first one of a visit."""
    first: Mapping[str, Any] = entry.get("events", (entry,))[0]
    return first


def _kept(at: Path | None) -> Draft | None:
    draft = drafts.load(at) if at is not None else None
    return draft if draft is not None and draft.answered else None


def _left(at: Path | None) -> str:
    """Return what a session that was stopped leaves behind."""
    draft = _kept(at)
    if draft is None:
        return "Nothing was written."
    if draft.signed is not None:
        return "It was just being written; the next run reports whether it is in the record. Nothing is half-written."
    return "Nothing was written; what you said is kept as a private draft."
