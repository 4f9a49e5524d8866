"""Charted risks to patient or line: the site, the needle, asepsis, the patient's answer."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Final

from lda_notes.check.rule_table import Case, Found, Step, advice, gap, unsafe
from lda_notes.check.rules.dwell_limits import implanted_at
from lda_notes.check.rules.scales import scale_limit
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.record import events as ev
from lda_notes.record.parts import NotDone, Site, Technique

_PATENT: Final = Citation("ins-patency", "R2")
_INS: Final = Citation("ins-2021", "M-H")
_OPEN_RN: Final = Citation("open-rn", "R")
_US_HOSPITAL: Final = Citation("us-hospital-2008", "R2", "app. L")


def _told(event: ev.CareEvent) -> bool:
    return any(problem.told is not None for problem in event.problems)


def _spoken_of(event: object) -> bool:
    """Return whether the event has any problem recorded."""
    return bool(getattr(event, "problems", None))


def _new_port(event: ev.Event, case: Case) -> bool:
    """Return whether redness, tenderness and swelling are expected because the port is only days old."""
    implanted = implanted_at(case, event)
    return implanted is not None and timedelta(0) <= event.at - implanted < case.span("post_implant_tender_hours")


# -- the site --


@unsafe(
    "leave the port alone, take the needle out if it is in, and have the site evaluated",
    Citation("ayrshire-arran-child", "R"),
)
def accessed_despite_site(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds an access at a site that the same entry describes as one not to be entered.

    A port that has turned over cannot be entered through its septum; a needle through infected skin carries the
    infection in; thin skin over a port breaks. The sources say: do not access, escalate.

    Notify whoever decides, and chart who was notified.
    """
    site = event.site
    if type(site) is not Site:
        return
    inflamed = site.drainage != "purulent" and site.erythema == site.tenderness == "present"
    shows = (
        (site.port == "flipped", "port", "the port is flipped"),
        (site.drainage == "purulent", "drainage", "drainage is purulent"),
        (inflamed and not _new_port(event, case), "erythema", "redness and tenderness are present"),
        (site.skin in ("broken", "thinned"), "skin", f"the skin is {site.skin}"),
        (site.skin == "port visible", "skin", "the port is visible"),
    )
    against = [(fact, says) for shown, fact, says in shows if shown]
    if against:
        says = " and ".join(says for _, says in against)
        yield Found(f"site.{against[0][0]}", f"the port was accessed although {says}")


@advice(
    "say under problems what was done about it, or that it is known",
    _US_HOSPITAL,
    Citation("ayrshire-arran-adult", "R"),
)
def site_sign_unexplained(step: Step, event: ev.SiteSeen, case: Case) -> Iterable[Found]:
    """Finds redness, tenderness, bloody or clear drainage, irritated skin or a tilted port without a comment on it.

    Such a sign alone does not put a line on hold, but it is how an infection or a slipped needle begins. The reader of
    the note must see that it was noticed and what was made of it.

    A short comment is enough if the sign is expected. Other rules ask about trouble that puts the line on hold.
    """
    site = event.site
    if type(site) is not Site:
        return
    signs = []
    if site.erythema == "present" and site.tenderness != "present":
        signs.append("redness")
    if site.tenderness == "present" and site.erythema != "present":
        signs.append("tenderness")
    if site.drainage in ("clear", "bloody"):
        signs.append(f"{site.drainage} drainage")
    if site.skin == "irritated":
        signs.append("irritated skin")
    if site.port in ("tilted", "not felt"):
        signs.append(f"a port {site.port}" if site.port == "tilted" else "a port that could not be felt")
    if signs and not _spoken_of(event) and site.detail is None and not _new_port(step.entry.event, case):
        yield Found("site", f"the site shows {' and '.join(signs)}; what was done about it is not recorded")


@advice("say under problems what was done about the score", limits=("vip_act_below",))
def site_score_unanswered(step: Step, event: ev.SiteSeen, case: Case) -> Iterable[Found]:
    """Finds a visual phlebitis score at which its scale asks for action, without a problem recorded.

    The scale pairs each score with an action. It is made for peripheral veins; on a port it still shows that the site
    is not as it should be.

    If the score is wrong, correct it.
    """
    site = event.site
    if type(site) is not Site or site.scale is None or site.scale.score <= case.policy.value("vip_act_below"):
        return
    if scale_limit(site.scale.name) == "vip_score" and not _spoken_of(event):
        yield Found(
            "site.scale.score",
            f'the score is {site.scale.score} on the scale "{site.scale.name}", which asks for action above '
            f"{case.policy.value('vip_act_below')}; what was done about it is not recorded",
        )


# -- blood return --


@advice(
    "try the restoring steps, chart them, and tell the team that the line is partly blocked",
    Citation("ons", "R"),
    _PATENT,
)
def sluggish_return_untreated(
    step: Step, event: ev.Access | ev.FlushOrLock | ev.LineCheck, case: Case
) -> Iterable[Found]:
    """Finds sluggish blood return with neither steps tried nor a problem recorded.

    Sluggish return is a partial occlusion, the stage at which a line is easiest to save.
    """
    if event.blood_return == "sluggish" and not event.steps_tried and not _spoken_of(event):
        yield Found(
            "blood_return", "blood return is sluggish; neither steps tried nor what was done about it is recorded"
        )


@advice("look at needle and catheter again: a line is proved by blood that looks like whole blood", _PATENT)
def blood_not_like_whole_blood(step: Step, event: ev.Proved, case: Case) -> Iterable[Found]:
    """Finds blood return called present with an aspirate that is thin or clotted.

    A line counts as open when it flushes freely and gives blood of the color and thickness of whole blood. Thin
    aspirate may be the lock or fluid from beside the vein; clots show that the line is closing.

    Aspirate again, and chart what comes.
    """
    if event.blood_looks is not None and event.blood_looks != "like whole blood" and event.blood_return == "present":
        says = f"blood return is present and the blood looks {event.blood_looks}; it should look like whole blood"
        yield Found("blood_looks", says)


@gap(
    "record the discarded volume, or why none was discarded",
    Citation("ayrshire-arran-adult", "R"),
    Citation("heparin-lock-label", "R2", "sampling"),
)
def samples_without_discard(step: Step, event: ev.Access | ev.FlushOrLock | ev.LineUse, case: Case) -> Iterable[Found]:
    """Finds blood samples drawn through the line without a record of the discarded first aspirate.

    The first aspirate is the old lock mixed with blood; a sample of it gives wrong results. For blood cultures some
    policies keep the first aspirate, so samples that are all cultures are not reported.

    If none was discarded, tell the laboratory.
    """
    if not event.samples or event.discard_ml is not None:
        return
    if all("culture" in sample.casefold() for sample in event.samples):
        return
    yield Found(
        "samples", "blood samples were drawn, and the discarded first aspirate is not recorded", lacks=("discard_ml",)
    )


# -- the needle coming out --


@unsafe("keep the needle, notify the physician at once, and chart who was notified and what was found", _INS)
def needle_not_whole(step: Step, event: ev.Deaccess, case: Case) -> Iterable[Found]:
    """Finds a needle that did not come out whole, without a record that anyone was notified.

    A piece left behind can lie in the septum or travel with the blood.

    Chart it under problems.
    """
    if event.needle_intact is False and not _told(event):
        yield Found("needle_intact", "the needle did not come out whole, and no one is recorded as notified")


@gap("chart what was done with the unlocked needle, and report it", _INS)
def safety_device_failed(step: Step, event: ev.Deaccess, case: Case) -> Iterable[Found]:
    """Finds a safety device that did not lock, without a problem recorded.

    An unguarded needle endangers whoever handles it, and a device that fails is to be reported to its maker.

    Chart it under problems, and whether anyone was stuck.
    """
    if event.safety_engaged is False and not event.problems:
        yield Found("safety_engaged", "the needle's safety device did not lock; what was done about it is not recorded")


@unsafe("keep pressure on the site, notify the physician, and chart who was notified", _INS)
def bleeding_continues(step: Step, event: ev.Deaccess, case: Case) -> Iterable[Found]:
    """Finds bleeding that continues after the needle is out, without a record that anyone was notified.

    A puncture that does not stop bleeding under pressure points to a clotting disorder or to too much heparin.

    Chart it under problems.
    """
    if event.bleeding == "continuing" and not _told(event):
        yield Found("bleeding", "bleeding continues after removal, and no one is recorded as notified")


# -- asepsis --

_ASEPSIS: Final = (
    ("hand_hygiene", "hand hygiene"),
    ("masks", "masks for all people present"),
    ("sterile_field", "a sterile field"),
)


@unsafe(
    "start again with full asepsis; if the needle is in, notify the prescriber and watch for infection",
    _OPEN_RN,
    COMMON_PRACTICE,
    limits=("gloves",),
)
def asepsis_broken(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Finds an access or dressing change charted as done without hand hygiene, masks, sterile field or gloves.

    The needle leads straight into a great vein. A charted no is honest, and the patient must be watched because of it.

    Whether gloves must be sterile at access is the facility's policy; at a dressing change only hand hygiene and masks
    are expected.
    """
    technique = event.technique
    if type(technique) is not Technique:
        return
    access = type(event) is ev.Access
    left_out = [
        (key, says) for key, says in _ASEPSIS if getattr(technique, key) is False and (access or key != "sterile_field")
    ]
    if technique.sterile_gloves is False and access and case.policy.choice("gloves") == "sterile":
        left_out.append(("sterile_gloves", "sterile gloves"))
    if left_out:
        said = f"the procedure was done without {' and without '.join(says for _, says in left_out)}"
        yield Found(f"technique.{left_out[0][0]}", said)


@unsafe(
    "prepare the skin before the needle or the dressing touches it",
    Citation("cdc-checklist", "R"),
    Citation("cdc-2011", "M-H"),
)
def no_skin_antisepsis(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Finds an access or dressing change for which skin antisepsis was left out.

    Without it the skin's bacteria go in with the needle or grow under the new dressing. No reason makes it unnecessary.

    If one agent is not tolerated, use another.
    """
    if type(event.antisepsis) is NotDone:
        yield Found("antisepsis", "skin antisepsis was left out")


@advice("apply the dressing again without pulling on the skin", COMMON_PRACTICE)
def dressing_under_tension(step: Step, event: ev.Dressed, case: Case) -> Iterable[Found]:
    """Finds a dressing charted as applied under tension.

    A film that pulls on the skin blisters and strips it, and lifts when the patient moves.
    """
    if getattr(event.dressing, "without_tension", None) is False:
        yield Found("dressing.without_tension", "the dressing pulls on the skin; it should be applied without tension")


@unsafe("tighten the connections, close what must be closed, and chart it", _INS)
def loose_connections(step: Step, event: ev.LineCheck, case: Case) -> Iterable[Found]:
    """Finds connections that were not secure at a check, without a record of what was done.

    Through an open connection the patient bleeds or draws air into the vein.

    Chart it under problems.
    """
    if event.connections_secure is False and not event.problems:
        yield Found(
            "connections_secure", "connections or clamps were not secure; what was done about it is not recorded"
        )


# -- tip and patient --


@unsafe("disconnect, and have the tip position confirmed before anything runs", _OPEN_RN, _INS)
def infusion_before_tip_confirmed(step: Step, event: ev.Access, case: Case) -> Iterable[Found]:
    """Finds an infusion connected although the tip position is charted as not confirmed.

    A tip in the wrong vein or in the heart does harm with whatever runs; its position is confirmed before the first
    use.
    """
    if event.tip_confirmed is False and event.infusion is not None:
        says = "an infusion was connected, and the tip position is not confirmed; it is confirmed before use"
        yield Found("tip_confirmed", says)


@unsafe("check the allergies now, against everything that touched the patient", _OPEN_RN)
def allergies_not_checked(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Finds an event charted as done without checking the allergies.

    Antiseptic, dressing, latex, heparin and anesthetic all cause allergic reactions; the check comes before them.

    Amend the entry.
    """
    if event.allergies_checked is False:
        yield Found("allergies_checked", "the allergies were not checked before the procedure")


@gap("chart what happened and what was done about it", _INS)
def not_tolerated_unexplained(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Finds a procedure that the patient did not tolerate, without a problem or a remark.

    Whoever comes next must know what happened: pain, faintness, fear, a reaction.

    Chart it under problems.
    """
    if event.response == "not tolerated" and not event.problems and event.remarks is None:
        yield Found("response", "the patient did not tolerate the procedure; what happened is not recorded")


_NEVER_SEVERE: Final = 4
"""No policy can call a lower pain score severe."""


@advice("correct the score or the response, or chart what was done about the pain", limits=("severe_pain_points",))
def severe_pain_tolerated_well(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Finds a severe pain score beside a procedure tolerated well, without a problem recorded.

    Both can hardly be true, and severe pain at a port may mean fluid under the skin.
    """
    pain = event.pain
    if type(pain) is not int or pain < _NEVER_SEVERE or event.response != "tolerated well" or event.problems:
        return
    if pain >= case.policy.value("severe_pain_points"):
        yield Found(
            "pain",
            f"the pain score is {pain} and the procedure was tolerated well; severe pain is "
            f"{case.policy.value('severe_pain_points')} or more",
        )
