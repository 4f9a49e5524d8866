"""Changes that once went unnoticed, each as what stands in the source and what it is changed to.

``python -m tests.mutation --named`` tries them; tests/rules/test_named_mutations.py asserts
that each still has its place.
"""

NAMED: tuple[tuple[str, str, str, str], ...] = (
    (
        "a mixed hold ended by its lesser reason: proof ends what only an evaluation may end",
        "lda_notes/line/holds.py",
        'if "proof" in hold.ends_by and entry is not hold.began:',
        "if entry is not hold.began:",
    ),
    (
        "a mixed hold ended by its lesser reason: an evaluation that names one reason ends all",
        "lda_notes/line/holds.py",
        "if {hold.reason, hold.sign} & set(said)))",
        "if said))",
    ),
    (
        "a mixed hold ended by its lesser reason: an evaluation that names none of two ends both",
        "lda_notes/line/holds.py",
        "return reasons if alone and len(reasons) == 1 else ()",
        "return reasons if alone else ()",
    ),
    (
        "thinned skin no longer a hold",
        "lda_notes/line/signs.py",
        'if site.skin in ("broken", "thinned"):',
        'if site.skin in ("broken",):',
    ),
    (
        "thinned skin no longer asked about",
        "lda_notes/line/holds.py",
        '{"present", "purulent", "flipped", "not felt", "broken", "thinned", "port visible", "opening"}',
        '{"present", "purulent", "flipped", "not felt", "broken", "port visible", "opening"}',
    ),
    (
        "a stopped procedure sent as not done",
        "lda_notes/fhir/build/procedures.py",
        'return "stopped" if begun else "not-done", event.dressing.not_done',
        'return "not-done", event.dressing.not_done',
    ),
    (
        "a removed port left active",
        "lda_notes/fhir/build/fold.py",
        'status = "inactive" if removals else "active"',
        'status = "active"',
    ),
    (
        "an urgent task sent as routine",
        "lda_notes/fhir/build/standing.py",
        '"priority": "urgent",',
        '"priority": "routine",',
    ),
    (
        "a change that is due now sent as routine",
        "lda_notes/fhir/build/due.py",
        '"priority": "routine" if by is not None else "urgent",',
        '"priority": "routine",',
    ),
    (
        "the unanswered problem not told first",
        "lda_notes/documents/handoff/patient.py",
        "tuple(sorted(open_problems(view, lines), key=lambda problem: problem.answered)),",
        "tuple(open_problems(view, lines)),",
    ),
    (
        "the unanswered problem of an earlier shift not told",
        "lda_notes/documents/handoff/problems.py",
        "if recent or (not answered and event.at >= asked) or (lasts",
        "if recent or (lasts",
    ),
    (
        "a flush of a held, swollen line let through",
        "lda_notes/check/rules/hold_use.py",
        "if patency_only and (isinstance(event, ev.Access)",
        "if (isinstance(event, ev.Access)",
    ),
    (
        "a flush of a line held for no blood and for swelling let through",
        "lda_notes/check/rules/hold_use.py",
        "patency_only = all(hold.reason in PROVABLE for hold in holds)",
        "patency_only = any(hold.reason in PROVABLE for hold in holds)",
    ),
    (
        "the event of the sheet's own moment dropped from the state",
        "lda_notes/line/timeline.py",
        "position = bisect_right(self._moments[septum], moment.astimezone(UTC))",
        "position = bisect_right(self._moments[septum], at := moment.astimezone(UTC)) - (at in self._moments[septum])",
    ),
    (
        "the event of the sheet's own moment dropped from the record",
        "lda_notes/pipeline.py",
        "kept = [place for place, event in enumerate(episode.events) if event.at <= moment]",
        "kept = [place for place, event in enumerate(episode.events) if event.at < moment]",
    ),
    (
        "the event of the sheet's own moment dropped from what is new",
        "lda_notes/documents/handoff/changes.py",
        "view.since.astimezone(UTC) < moment.astimezone(UTC) <= view.asof",
        "view.since.astimezone(UTC) < moment.astimezone(UTC) < view.asof",
    ),
    (
        "the problem of the sheet's own moment dropped",
        "lda_notes/documents/handoff/problems.py",
        "<= entry.event.at.astimezone(UTC) <= view.asof.astimezone(UTC)",
        "<= entry.event.at.astimezone(UTC) < view.asof.astimezone(UTC)",
    ),
)
"""What it does, the module, what stands there once, and what it becomes."""
