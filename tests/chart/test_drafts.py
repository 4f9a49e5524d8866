"""Drafts: private, nameless, whole, gone once signed; never in anybody's way."""

from __future__ import annotations

import json
import os
import random
import signal
import stat
import time
import warnings
from datetime import UTC, datetime
from pathlib import Path

import pytest
from desk import Run, answered, demo_until, subject
from hypothesis import given, settings
from hypothesis import strategies as st

from lda_notes.chart.answers.answered import Answered
from lda_notes.chart.talk import Talk
from lda_notes.chart.terminal import drafts
from lda_notes.chart.terminal.drafts import Draft
from lda_notes.files.syntax import read_yaml
from lda_notes.problems import Failure
from lda_notes.record.seals import sealed
from lda_notes.record.writer import append, look
from lda_notes.record.writer_text import with_event

BEGAN = datetime(2026, 5, 11, 20, 45, tzinfo=UTC)
SECOND = "2026-05-11T15:45-05:00"


def test_a_draft_is_read_back_as_it_was_kept(tmp_path: Path) -> None:
    talk, _ = answered(Talk(subject(demo_until("access-2"), "access", SECOND)), "-15m", "nb", "y", "- asleep")
    draft = Draft("access-2", BEGAN, talk.answered, {"id": "access-2"})
    at = tmp_path / "draft.json"
    drafts.save(at, draft)
    assert drafts.load(at) == draft
    assert stat.S_IMODE(at.stat().st_mode) == 0o600
    drafts.discard(at)
    drafts.discard(at)
    assert drafts.load(at) is None


PATHS = st.tuples(st.sampled_from(["needle", "flushes", "remarks"]), st.integers(0, 5) | st.text(max_size=5))
VALUES = st.none() | st.booleans() | st.integers() | st.text() | st.lists(st.text(max_size=5), max_size=3)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.text(), st.lists(st.tuples(PATHS, VALUES), max_size=3), st.text()), max_size=5))
def test_any_answer_is_kept(
    tmp_path_factory: pytest.TempPathFactory, said: list[tuple[str, list[object], str]]
) -> None:
    at = tmp_path_factory.mktemp("drafts") / "draft.json"
    draft = Draft("x", BEGAN, tuple(Answered(q, tuple(facts), words) for q, facts, words in said))  # type: ignore[arg-type]  # a stand-in of the test
    try:
        drafts.save(at, draft)
    except UnicodeEncodeError:
        return  # a lone surrogate never gets past an answer
    assert drafts.load(at) == draft


@pytest.mark.parametrize("raw", [b"", b"{", b"[]", b"{}", b'{"version": 2}', b"\xff", b'{"version": 1, "answered": 3}'])
def test_a_draft_that_cannot_be_read_is_none(tmp_path: Path, raw: bytes) -> None:
    at = tmp_path / "draft.json"
    at.write_bytes(raw)
    assert drafts.load(at) is None


def test_the_name_of_a_draft_tells_nothing_and_is_one_for_each_record_and_kind(tmp_path: Path) -> None:
    record = tmp_path / "Quillfeather-Odessa.yaml"
    record.touch()
    link = tmp_path / "link.yaml"
    link.symlink_to(record)
    folder = tmp_path / "state"
    names = {drafts.place(folder, record, kind).name for kind in ("access", "flush")}
    assert len(names) == 2 and not any("Quill" in name or "access" in name for name in names)
    assert drafts.place(folder, link, "access") == drafts.place(folder, record, "access")


@pytest.mark.parametrize(
    ("environment", "folder"),
    [
        ({"XDG_STATE_HOME": "/var/state", "HOME": "/home/nurse"}, "/var/state/lda-notes/drafts"),
        ({"HOME": "/home/nurse"}, "/home/nurse/.local/state/lda-notes/drafts"),
        ({"XDG_STATE_HOME": "relative", "HOME": "/home/nurse"}, "/home/nurse/.local/state/lda-notes/drafts"),
    ],
)
def test_the_folder_is_the_users_own(environment: dict[str, str], folder: str) -> None:
    """Relative paths are to be ignored: XDG Base Directory Specification 0.8."""
    assert drafts.folder(environment) == Path(folder)


def test_one_session_at_a_time(tmp_path: Path) -> None:
    at = tmp_path / "deep" / "er" / "draft.json"
    with drafts.held(at):
        assert stat.S_IMODE(at.parent.stat().st_mode) == 0o700
        with pytest.raises(Failure, match="another of your windows"), drafts.held(at):
            pass
    with drafts.held(at):
        pass
    assert list(at.parent.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with (
        pytest.raises(Failure, match="drafts cannot be kept there"),
        drafts.held(tmp_path / "file" / "x" / "draft.json"),
    ):
        pass


def test_killed_at_any_moment_of_signing_the_record_is_old_or_new_and_the_draft_survives(tmp_path: Path) -> None:
    """A hundred nurses sign; each is killed at a random moment of keeping the draft, writing, taking the draft away."""
    record = tmp_path / "episode.yaml"
    old = demo_until("access-2")
    about = subject(old, "line check", SECOND)
    talk, _ = answered(Talk(about), "-15m", "a")
    entry = about.finished(talk.facts)
    new = with_event(old, sealed(read_yaml(old).data or {}, json.loads(json.dumps(entry))), as_json=False)
    at = tmp_path / "state" / "draft.json"
    at.parent.mkdir()
    chance, whole = random.Random(60), 0.02
    outcomes = []
    for _ in range(100):
        record.write_bytes(old)
        drafts.save(at, Draft(about.entry_id, BEGAN, talk.answered))
        child = _forked(record, at, talk, entry)
        time.sleep(chance.uniform(0, whole))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        outcomes.append(record.read_bytes())
        draft = drafts.load(at)
        assert outcomes[-1] in (old, new)
        if outcomes[-1] == old:
            assert draft is not None and draft.answered == talk.answered
        elif draft is not None:
            assert draft.signed == entry, "the next run knows that it was signed and written"
        whole *= 1.1 if outcomes[-1] == old else 0.9
    assert set(outcomes) == {old, new}


def _forked(record: Path, at: Path, talk: Talk, entry: dict[str, object]) -> int:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # the test runner may have threads; the child needs none
        child = os.fork()
    if child == 0:
        try:
            drafts.save(at, Draft(str(entry["id"]), BEGAN, talk.answered, entry))
            append(look(record), entry)
            drafts.discard(at)
        finally:
            os._exit(0)
    return child


def test_what_is_not_signed_is_named_by_author_wherever_the_unit_is_listed(run: Run, ward: Path) -> None:
    """An entry and a correction that were begun: `chart`, `check` and `handoff` of the folder name both."""
    run("chart", "episode.yaml", "access", "--asof", SECOND, typed="-15m\na\n")
    by = ("--by", "Bertrand Oyelle, RN, LBN-117")
    run("amend", "episode.yaml", "check-13", "--as", "retraction", *by, "--asof", SECOND, typed="made twice\n")
    both = ("access by Marisol Tamm, 2 answers", "correction of check-13 by Bertrand Oyelle, 1 answer")
    unit = " ".join(run("chart", ".", "--asof", SECOND, typed="q\n").err.split())
    assert all(f"draft not signed: {one}" in unit for one in both)
    for command in ("check", "handoff"):
        said = run(command, ".", "--asof", SECOND).err
        assert all(f"draft of {one}. " in said for one in both), command
        assert "Chart it again" in said and "Amend it again" in said
    opened = " ".join(run("chart", "episode.yaml", "access", *by, "--asof", SECOND, typed="").err.split())
    assert "A draft of this access by Marisol Tamm contains 2 answers" in opened


def test_on_a_shared_login_a_draft_has_an_author_from_its_first_answers(run: Run, ward: Path) -> None:
    policy = "source: {title: Logins, date: 2026-01-15}\nlimits: {login_shared: yes}\n"
    (ward / "lda-policy.yaml").write_text(policy)
    run("chart", "episode.yaml", "visit", "--asof", SECOND, typed="Bertrand Oyelle, RN\n-30m\n")
    run("amend", "episode.yaml", "check-13", "--as", "retraction", "--asof", SECOND, typed="Marisol Tamm, RN\nwrong\n")
    said = run("check", ".", "--asof", SECOND).err
    assert "draft of visit by Bertrand Oyelle, " in said and "draft of correction of check-13 by Marisol Tamm, " in said
