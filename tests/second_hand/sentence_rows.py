"""Sentences of the notes, and the least facts that must be recorded before a nurse may sign each of them.

Written from the sentences alone. A row names the kinds of event, the words as printed, and per fact (its path in the
event; ``@0.at`` is the first event of the record, ``port.side`` and the like the record itself) a value that
contradicts the words. ``contrary`` are facts that together make the words untrue although every least fact is recorded;
``against`` are facts that contradict a recorded fact: then the words are left out or the check finds it.

Words alone were brought into line with American clinical English since (notified, replied, antidote, applied, removed,
reported); no fact of a row was changed. A sign among absent ones is "present", since "no erythema, swelling, no
tenderness" reads as if there were no swelling.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from bedside import Json, access, access_none, evaluation, event, needle_out, t, treatment

NEEDLE_IN = access(
    t("09:00"), infusion=None, lock={"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}
)
HELD = access_none(t("09:00"))
OUT = event("de-access", t("10:00"))
ALTEPLASE = treatment(t("10:00"))
HELD_THEN_DOSE = (HELD, ALTEPLASE)
DWELL: Json = {"not_done": "dwell"}
WHY: Json = {"not_assessed": "patient asleep"}
NOT_DONE: Json = {"not_done": "none at hand"}
QUILL: Json = {"name": "Rufus Quill", "credential": "NP", "id": "CASE-N7"}
OTHER: Json = {"name": "Della Marrow", "credential": "DO", "id": "CASE-N8"}
QUILL_SIGNED = "Rufus Quill, NP (CASE-N7)"


class _Only:
    """Marks a fact that has no other value: only its absence is tried."""


ONLY = _Only()


@dataclass(frozen=True)
class Row:
    """One sentence: where it is printed, what it says, and what must be recorded for it."""

    kinds: tuple[str, ...]
    says: str
    least: Json  # path -> value that contradicts, or a tuple of such values, or ONLY
    recorded: Json = field(default_factory=dict)  # laid over the faultless event of the base
    before: tuple[Json, ...] | None = None  # None: a needle in since 09:00, save for an access or arrival
    against: Json = field(default_factory=dict)
    parts: Json = field(default_factory=dict)  # patient, stay, port
    after: tuple[Json, ...] = ()
    contrary: Json = field(default_factory=dict)  # all of it at once

    def changes(self) -> list[tuple[str, dict[str, Any]]]:
        """Return each change after which the sentence must not be printed; a value of None takes the fact out."""
        out: list[tuple[str, dict[str, Any]]] = []
        for path, others in self.least.items():
            out.append((f"without {path}", {path: None}))
            for other in others if isinstance(others, tuple) else (others,):
                if other is not ONLY:
                    out.append((f"{path} {other}", {path: other}))
        return [*out, *([(f"contrary {next(iter(self.contrary))}", self.contrary)] if self.contrary else [])]

    def contradictions(self) -> list[tuple[str, str, Any]]:
        """Return each fact that contradicts a recorded one: its name, its path, its value."""
        each = ((path, others if isinstance(others, tuple) else (others,)) for path, others in self.against.items())
        return [(f"{path} {other}", path, other) for path, others in each for other in others]


def row(kinds: str, says: str, least: Json, recorded: Json | None = None, **more: Any) -> Row:
    """Return a row; ``kinds`` is a list of kinds with commas."""
    return Row(tuple(kind.strip() for kind in kinds.split(",")), says, least, recorded or {}, **more)


# An access that failed: every pass missed the port, and no needle stayed.
NEVER_IN: Json = {
    "needle": None,
    "needle_wings": None,
    "attempts": 2,
    "punctures": [{"outcome": "port missed"}, {"outcome": "port missed"}],
    "blood_return": {"not_assessed": "no needle in the port"},
    "blood_looks": None,
    "discard_ml": None,
    "discard_method": None,
    "old_lock": None,
    "flushes": {"not_done": "no needle in the port"},
    "lock": {"not_done": "no needle in the port"},
    "infusion": None,
}
PROVED = "access, arrival accessed, de-access, flush, line check"
FLUSHED = "access, de-access, flush"
SITED = "access, de-access, line check"
DRESSED = "access, dressing change"

PROOF = (
    row(
        PROVED,
        "Blood return was present; the blood looked like whole blood.",
        {"blood_return": ("none", "sluggish", WHY), "blood_looks": ("thin", "clotted")},
    ),
    row(PROVED, "Blood return was present", {"blood_return": ("none", "sluggish", WHY)}, {"blood_looks": None}),
    row(PROVED, "Blood return was sluggish", {"blood_return": ("present", "none", WHY)}, {"blood_return": "sluggish"}),
    row(
        PROVED,
        "There was NO blood return",
        {"blood_return": ("present", "sluggish", WHY)},
        {"blood_return": "none", "blood_looks": None},
    ),
    row(PROVED, "the blood looked thin", {"blood_looks": ("like whole blood", "clotted")}, {"blood_looks": "thin"}),
    row(PROVED, "the blood looked clotted", {"blood_looks": "thin"}, {"blood_looks": "clotted"}),
    row(
        PROVED,
        "Blood return was not assessed: patient asleep.",
        {"blood_return": ("present", "none"), "blood_return.not_assessed": "no syringe"},
        {"blood_return": WHY, "blood_looks": None},
    ),
    row(
        PROVED,
        "Steps tried: repositioned patient; cough or deep breath.",
        {"steps_tried": (["repositioned patient"], ["needle replaced"])},
        {"steps_tried": ["repositioned patient", "cough or deep breath"]},
    ),
    row(
        PROVED,
        "First aspirate, discarded: 5 mL.",
        {"discard_ml": (3, NOT_DONE), "discard_method": ("returned", "mixed in the syringe")},
        {"discard_ml": 5, "discard_method": "discarded"},
    ),
    row(
        PROVED,
        "First aspirate discarded: 5 mL.",
        {"discard_ml": (3, NOT_DONE)},
        {"discard_ml": 5, "discard_method": None},
        contrary={"discard_method": "returned"},
    ),
    row(
        PROVED,
        "First aspirate, returned: 5 mL.",
        {"discard_ml": 3, "discard_method": "discarded"},
        {"discard_ml": 5, "discard_method": "returned"},
    ),
    row(
        PROVED,
        "First aspirate: mixed in the syringe.",
        {"discard_method": "discarded"},
        {"discard_ml": None, "discard_method": "mixed in the syringe"},
    ),
    row(
        PROVED,
        "No aspirate was discarded: none at hand.",
        {"discard_ml": 5, "discard_ml.not_done": "no aspirate"},
        {"discard_ml": NOT_DONE, "discard_method": None},
    ),
    row(
        PROVED,
        "Blood samples drawn: blood count and potassium.",
        {"samples": (["blood count"], ["glucose", "potassium"])},
        {"samples": ["blood count", "potassium"]},
    ),
    row(
        FLUSHED,
        "Old lock: aspirated and discarded.",
        {"old_lock": ("flushed in", "could not be aspirated")},
        {"old_lock": "aspirated and discarded"},
    ),
    row(
        "access, flush",
        "Old lock: aspirated and discarded.",
        {},
        {"old_lock": "aspirated and discarded", "discard_method": None},
        against={"discard_ml": NOT_DONE},
    ),
    row(
        "access, flush",
        "Old lock: could not be aspirated.",
        {"old_lock": ("aspirated and discarded", "flushed in")},
        {"old_lock": "could not be aspirated", "discard_ml": NOT_DONE, "discard_method": None},
        against={"discard_ml": 5},
    ),
    row(FLUSHED, "Old lock: flushed in.", {"old_lock": "aspirated and discarded"}, {"old_lock": "flushed in"}),
)

FLUSHES = (
    row(FLUSHED, "The needleless connector was scrubbed for 15 seconds.", {"hub_scrub_s": 5}),
    row(
        FLUSHED,
        "Flushed with 10 mL of 0.9% sodium chloride",
        {
            "flushes": DWELL,
            "flushes.0.solution": "5% dextrose",
            "flushes.0.volume_ml": 5,
        },
        contrary={"flushes.0.resistance": "cannot flush"},
    ),
    row(
        FLUSHED,
        "Flushed with 0.9% sodium chloride",
        {"flushes": DWELL, "flushes.0.solution": "5% dextrose"},
        {"flushes": [{"volume_ml": None}]},
        contrary={"flushes.0.resistance": "cannot flush"},
    ),
    row(
        FLUSHED,
        "mL of 0.9% sodium chloride from",
        {"flushes.0.solution": ("5% dextrose", "0.9% sodium chloride with benzyl alcohol"), "flushes": DWELL},
    ),
    row(FLUSHED, "from a 10 mL syringe", {"flushes.0.syringe_ml": 20, "flushes": DWELL}),
    row(FLUSHED, "push-pause", {"flushes.0.technique": "steady", "flushes": DWELL}),
    row(
        FLUSHED,
        "steady push",
        {"flushes.0.technique": "push-pause", "flushes": DWELL},
        {"flushes": [{"technique": "steady"}]},
    ),
    row(
        FLUSHED,
        "without resistance",
        {"flushes.0.resistance": ("some", "cannot flush", WHY), "flushes": DWELL},
    ),
    row(
        FLUSHED,
        "WITH resistance",
        {"flushes.0.resistance": ("none", "cannot flush", WHY), "flushes": DWELL},
        {"flushes": [{"resistance": "some"}]},
    ),
    row(
        FLUSHED,
        "The line could NOT be flushed; tried with 10 mL of 0.9% sodium chloride",
        {"flushes.0.resistance": ("none", "some", WHY), "flushes.0.volume_ml": 5, "flushes": DWELL},
        {"flushes": [{"resistance": "cannot flush"}]},
    ),
    row(
        FLUSHED,
        "Resistance was not assessed: patient asleep.",
        {"flushes.0.resistance": ("none", "some")},
        {"flushes": [{"resistance": WHY}]},
    ),
    row(
        FLUSHED,
        "No flush was given: dwell.",
        {"flushes": ([{"solution": "0.9% sodium chloride", "volume_ml": 10}],), "flushes.not_done": "none at hand"},
        {"flushes": DWELL, "lock": DWELL},
    ),
    row(
        "flush",
        "implanted port flushed and locked",
        {"flushes": NOT_DONE, "lock": NOT_DONE},
        contrary={"flushes.0.resistance": "cannot flush"},
    ),
    row(
        "flush",
        "implanted port flushed",
        {"flushes": NOT_DONE},
        {"lock": NOT_DONE},
        contrary={"flushes.0.resistance": "cannot flush"},
    ),
    row("flush", "port locked", {"lock": NOT_DONE}, {"flushes": NOT_DONE}),
)

LOCKS = (
    row(
        FLUSHED,
        "Locked with 500 units of heparin (5 mL of 100 units per mL), without preservative.",
        {
            "lock": NOT_DONE,
            "lock.drug": ("0.9% sodium chloride", "4% citrate"),
            "lock.units_per_ml": 10,
            "lock.volume_ml": 3,
            "lock.preservative": ("benzyl alcohol", "parabens"),
        },
        {"lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "none"}, "infusion": None},
        against={"flushes.0.resistance": "cannot flush"},
    ),
    row(
        FLUSHED,
        "preserved with benzyl alcohol",
        {"lock.preservative": ("none", "parabens"), "lock": NOT_DONE},
        {"lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "benzyl alcohol"}},
    ),
    row(
        FLUSHED,
        "preserved with parabens",
        {"lock.preservative": ("none", "benzyl alcohol"), "lock": NOT_DONE},
        {"lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "preservative": "parabens"}},
    ),
    row(
        FLUSHED,
        "Locked with 5 mL of 0.9% sodium chloride",
        {"lock": NOT_DONE, "lock.drug": ("heparin", "4% citrate"), "lock.volume_ml": 3},
        {"lock": {"drug": "0.9% sodium chloride", "volume_ml": 5, "units_per_ml": None, "preservative": None}},
    ),
    row(
        FLUSHED,
        "Locked with 5 mL of taurolidine with citrate and heparin (heparin 500 units per mL, 2,500 units in all)",
        {"lock": NOT_DONE, "lock.drug": "heparin", "lock.units_per_ml": 100, "lock.volume_ml": 3},
        {
            "lock": {
                "drug": "taurolidine with citrate and heparin",
                "volume_ml": 5,
                "units_per_ml": 500,
                "preservative": None,
            }
        },
    ),
    row(
        FLUSHED,
        "Locked with heparin, 100 units per mL",
        {"lock": NOT_DONE, "lock.drug": "4% citrate", "lock.units_per_ml": 10},
        {"lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": None, "preservative": None}},
    ),
    row(
        FLUSHED,
        "Locked with 5 mL of heparin",
        {"lock": NOT_DONE, "lock.drug": "4% citrate", "lock.volume_ml": 3},
        {"lock": {"drug": "heparin", "units_per_ml": None, "volume_ml": 5, "preservative": None}},
    ),
    row(
        FLUSHED,
        "The line was not locked: none at hand.",
        {"lock": ({"drug": "4% citrate", "volume_ml": 5},), "lock.not_done": "dwell"},
        {"lock": NOT_DONE},
    ),
)

NEEDLES = (
    row("access", "2 April 2031, 12:00: implanted port accessed", {"at": t("13:00")}),
    row("access", "implanted port accessed, right chest", {"port.side": "left", "port.area": "forearm"}),
    row("access", "Needle inserted: non-coring", {"needle": {"non_coring": "no"}, "needle.non_coring": "no"}),
    row("access", "NOT non-coring", {"needle.non_coring": "yes"}, {"needle": {"non_coring": "no"}}),
    row("access", "20 gauge", {"needle.gauge": 22}),
    row("access", "19 mm (3/4 inch) long", {"needle.length_mm": 25}),
    row("access", ", 19 mm (3/4 inch) long and labeled for power injection", {"needle.power_rated": "no"}),
    row(
        "access",
        "long and not labeled for power injection",
        {"needle.power_rated": "yes"},
        {"needle": {"power_rated": "no"}},
    ),
    row("access", "attempts: 1.", {"attempts": 2}),
    row(
        "access",
        "Needle inserted:",
        {"needle": ONLY},
        against={"punctures": [{"outcome": "port missed"}]},
    ),
    *(
        row("access", says, {}, {"dressing": NOT_DONE, "next_due": None}, contrary=NEVER_IN)
        for says in ("implanted port accessed", "Needle change is due")
    ),
    row("access", "Attempts to insert the needle: 2.", {"attempts": 3}, {"attempts": 2, "needle": None}),
    row(
        "access",
        "Puncture with a 22 gauge needle, 25 mm (1 inch) long, by Rufus Quill, NP (CASE-N7), at 11:50: port missed.",
        {
            "punctures.0.needle.gauge": 20,
            "punctures.0.needle.length_mm": 19,
            "punctures.0.by": OTHER,
            "punctures.0.at": t("11:40"),
            "punctures.0.outcome": "blood return",
        },
        {
            "attempts": 2,
            "punctures": [
                {
                    "needle": {"gauge": 22, "length_mm": 25},
                    "by": QUILL,
                    "at": t("11:50"),
                    "outcome": "port missed",
                },
                {"needle": {"gauge": 20, "length_mm": 19}, "at": t("12:00"), "outcome": "blood return"},
            ],
        },
    ),
    row(
        "access, line check",
        "Needle wings: raised above the skin.",
        {"needle_wings": ("pressing into the skin", "level with the skin")},
        {"needle_wings": "raised above the skin"},
    ),
    row("access", "The extension was primed with saline and clamped.", {"extension_primed": "no"}),
    row(
        "access",
        "The extension was NOT primed with saline and clamped.",
        {"extension_primed": "yes"},
        {"extension_primed": "no"},
    ),
    row(
        "access",
        "Catheter tip position is confirmed (cavoatrial junction, chest radiograph, 12 November 2030).",
        {
            "tip_confirmed": ("no", WHY),
            "port.tip.location": "subclavian vein",
            "port.tip.method": "fluoroscopy",
            "port.tip.on": "2030-11-13",
        },
    ),
    row("access", "Catheter tip position is NOT confirmed.", {"tip_confirmed": ("yes", WHY)}, {"tip_confirmed": "no"}),
    row(
        "access",
        "Catheter tip position was not assessed: patient asleep.",
        {"tip_confirmed": ("yes", "no"), "tip_confirmed.not_assessed": "no chart"},
        {"tip_confirmed": WHY},
    ),
    row(
        "access",
        "No local anesthetic was used.",
        {"anesthetic": ({"agent": "lidocaine 4% cream"}, WHY)},
    ),
    row(
        "access",
        "Local anesthetic: lidocaine 2.5% with prilocaine 2.5% cream, 2.5 g, over 25 square cm, given at 10:40, "
        "removed at 11:45.",
        {
            "anesthetic": WHY,
            "anesthetic.agent": "lidocaine 4% cream",
            "anesthetic.amount_g": 1,
            "anesthetic.area_cm2": 10,
            "anesthetic.applied_at": t("11:00"),
            "anesthetic.removed_at": t("11:30"),
        },
        {
            "anesthetic": {
                "agent": "lidocaine 2.5% with prilocaine 2.5% cream",
                "amount_g": 2.5,
                "area_cm2": 25,
                "applied_at": t("10:40"),
                "removed_at": t("11:45"),
            }
        },
    ),
    row(
        "access",
        "Local anesthetic: vapocoolant spray, labeled sterile",
        {"anesthetic.agent": "intradermal lidocaine 1%", "anesthetic.sterile": "no"},
        {
            "anesthetic": {
                "agent": "vapocoolant spray",
                "sterile": "yes",
                "amount_g": None,
                "area_cm2": None,
                "applied_at": None,
                "removed_at": None,
            }
        },
    ),
    row(
        "access",
        "Use of a local anesthetic was not assessed: patient asleep.",
        {"anesthetic": ("none used",)},
        {"anesthetic": WHY},
    ),
    row(
        "access",
        "This access follows the removal of the needle at 10:00 (needle change).",
        {"follows_removal": "access-1", "@1.at": t("10:30")},
        {"follows_removal": "de-access-1"},
        before=(NEEDLE_IN, OUT),
    ),
    row(
        "access",
        "This access follows a removal that is not in this record (needle change).",
        {"follows_removal": "de-access-1"},
        {"follows_removal": "removal-7"},
        before=(NEEDLE_IN, OUT),
    ),
    row(
        "access, line check",
        "5% dextrose at 20 mL per hour",
        {"infusion": "potassium"},
        {"infusion": "5% dextrose at 20 mL per hour"},
    ),
    row("access", "Infusion connected:", {"infusion": ONLY}),
    row("line check, arrival accessed", "Infusion running", {"infusion": ONLY}, {"infusion": "5% dextrose"}),
)

ARRIVAL = (
    row(
        "arrival accessed",
        "patient arrived with a needle in the implanted port, right chest; came from Clinic Sandpiper.",
        {"came_from": "another hospital", "port.side": "left"},
        {"came_from": "Clinic Sandpiper"},
    ),
    row(
        "arrival accessed",
        "Needle found: non-coring, 20 gauge and 19 mm (3/4 inch) long.",
        {"needle.non_coring": "no", "needle.gauge": 22, "needle.length_mm": 25, "needle": WHY},
    ),
    row(
        "arrival accessed",
        "Unknown about the needle: gauge (no label).",
        {"needle.gauge": 22, "needle.gauge.not_assessed": "patient asleep"},
        {"needle": {"gauge": {"not_assessed": "no label"}}},
    ),
    row(
        "arrival accessed",
        "Nothing is known about the needle: patient asleep.",
        {"needle": {"gauge": 20}},
        {"needle": WHY},
    ),
    row("arrival accessed", "The needle was inserted 1 April 2031, 12:00.", {"inserted_at": (t("11:00", 1), WHY)}),
    row(
        "arrival accessed",
        "When the needle was inserted is not known: patient asleep.",
        {"inserted_at": t("11:00", 1)},
        {"inserted_at": WHY},
    ),
    row(
        "arrival accessed",
        "Dressing on arrival: transparent dressing, chlorhexidine disc at the needle and puncture site in view.",
        {
            "dressing": WHY,
            "dressing.type": "gauze",
            "dressing.chlorhexidine_disc": "no",
            "dressing.site_visible": "no",
        },
    ),
    row("arrival accessed", "The dressing was applied 1 April 2031, 12:00.", {"dressed_at": (t("11:00", 1), WHY)}),
    row(
        "arrival accessed",
        "When the dressing was applied is not known: patient asleep.",
        {"dressed_at": t("11:00", 1)},
        {"dressed_at": WHY},
    ),
    row(
        "arrival accessed",
        "The dressing was not assessed: patient asleep.",
        {"dressing": {"type": "gauze"}},
        {"dressing": WHY},
    ),
)

REMOVAL = (
    row("de-access", "2 April 2031, 12:00: needle removed from the implanted port", {"at": t("13:00")}),
    row("de-access", "The needle had been in since 09:00 (3 hours).", {"@0.at": t("08:00"), "at": t("13:00")}),
    row(
        "de-access",
        "The needle had been in since 1 April 2031, 09:00 (1 day 3 hours).",
        {"@0.inserted_at": (t("08:00", 1), WHY)},
        before=(event("arrival accessed", t("09:00"), inserted_at=t("09:00", 1)),),
    ),
    row(
        "de-access",
        "The needle came out whole",
        {"needle_intact": ("no", WHY)},
        against={"missing_piece": "tip, looked for on radiograph"},
    ),
    row("de-access", "its safety device locked", {"safety_engaged": ("no", WHY)}),
    row("de-access", "The needle did NOT come out whole", {"needle_intact": ("yes", WHY)}, {"needle_intact": "no"}),
    row("de-access", "its safety device did NOT lock", {"safety_engaged": ("yes", WHY)}, {"safety_engaged": "no"}),
    row(
        "de-access",
        "The needle's safety device locked.",
        {"safety_engaged": ("no", WHY)},
        {"needle_intact": None},
    ),
    row(
        "de-access",
        "Missing piece of the needle: tip, looked for on radiograph.",
        {"missing_piece": "hub"},
        {"needle_intact": "no", "missing_piece": "tip, looked for on radiograph"},
    ),
    row(
        "de-access",
        "Whether the needle came out whole was not assessed: patient asleep.",
        {"needle_intact": ("yes", "no")},
        {"needle_intact": WHY},
    ),
    row(
        "de-access",
        "Whether the safety device locked was not assessed: patient asleep.",
        {"safety_engaged": ("yes", "no")},
        {"safety_engaged": WHY},
    ),
    row("de-access", "No bleeding.", {"bleeding": ("stopped with pressure", "continuing", WHY)}),
    row(
        "de-access",
        "Bleeding stopped with pressure.",
        {"bleeding": ("none", "continuing")},
        {"bleeding": "stopped with pressure"},
    ),
    row("de-access", "Bleeding CONTINUES", {"bleeding": ("none", "stopped with pressure")}, {"bleeding": "continuing"}),
    row("de-access", "Bleeding was not assessed: patient asleep.", {"bleeding": "none"}, {"bleeding": WHY}),
    row("de-access", "Puncture site covered with: sterile gauze.", {"cover": ("adhesive strip", NOT_DONE)}),
    row("de-access", "The puncture was not covered: none at hand.", {"cover": "sterile gauze"}, {"cover": NOT_DONE}),
)

HOLDS = (
    row(
        "access",
        "The line is ON HOLD from this time (no blood return).",
        {"blood_return": "present"},
        HELD,
    ),
    row(
        "line check",
        "The line is ON HOLD from this time (no blood return).",
        {"blood_return": ("present",)},
        {"blood_return": "none", "blood_looks": None, "steps_tried": ["repositioned patient"]},
    ),
    row(
        "line check",
        "The line is ON HOLD from this time (swelling at the port).",
        {"site.swelling": "none"},
        {"site": {"swelling": "present"}},
    ),
    row(
        "line check, dressing change, extravasation care, de-access, transfer, discharge",
        "The line remains ON HOLD since 2 April 2031, 09:00 (no blood return).",
        {"@0.blood_return": "present", "@0.at": t("08:00")},
        {
            "blood_return": "none",
            "blood_looks": None,
            "flushes": {"not_done": "line on hold"},
            "lock": {"not_done": "line on hold"},
        },
        before=(HELD,),
    ),
    row(
        "evaluation",
        "This ends the hold that began 2 April 2031, 09:00 (no blood return).",
        {
            "decision": ("remains on hold", "line to be removed", "thrombolytic ordered"),
            "cleared_by": {"name": "Rufus Quill", "credential": "RN"},
            "cleared_by.credential": "nursing student",
            "@0.at": t("08:00"),
            "@0.blood_return": "present",
        },
        before=(HELD,),
    ),
    row(
        "patency check",
        "This ends the hold that began 2 April 2031, 09:00 (no blood return).",
        {
            "blood_return": ("none", "sluggish", WHY),
            "flushes.0.resistance": ("cannot flush", "some"),
            "@0.blood_return": "present",
        },
        before=HELD_THEN_DOSE,
    ),
    row(
        "line check",
        "CAUTION: LINE WAS ON HOLD when this was done, from 2 April 2031, 09:00 (no blood return)",
        {"@0.blood_return": "present", "@0.at": t("08:00"), "@2.decision": "remains on hold"},
        {"blood_return": "none", "blood_looks": None},
        before=(HELD,),
        after=(evaluation(t("13:00")),),
    ),
    row(
        "line use",
        "Used despite the hold, as ordered by Rufus Quill, NP (CASE-N7) for blood cultures, ordered at 11:30.",
        {
            "despite_hold": ONLY,
            "despite_hold.by": OTHER,
            "despite_hold.purpose": "an antibiotic",
            "despite_hold.ordered_at": t("11:00"),
        },
        {"despite_hold": {"by": QUILL, "purpose": "blood cultures", "ordered_at": t("11:30")}},
        before=(HELD,),
    ),
)

DUE = (
    row(
        "access",
        "Needle change and dressing change are due by 9 April 2031, 12:00 (7 days).",
        {
            "dressing": NOT_DONE,
            "dressing.type": ("gauze", "gauze under transparent"),
            "at": t("13:00"),
        },
    ),
    row("access", "Needle change is due by 9 April 2031, 12:00", {"at": t("13:00")}, {"dressing": NOT_DONE}),
    row(
        "access",
        "Dressing change is due by 4 April 2031, 12:00 (2 days",
        {"dressing": NOT_DONE, "dressing.type": "transparent"},
        {"dressing": {"type": "gauze", "chlorhexidine_disc": "no"}, "next_due": None},
    ),
    row(
        "dressing change",
        "Needle change is due by 9 April 2031, 09:00 (7 days); the dressing goes with the needle.",
        {"dressing": NOT_DONE, "dressing.type": "gauze", "@0.at": t("08:00")},
        {"next_due": None},
    ),
    row(
        "dressing change",
        "Dressing change is due by 4 April 2031, 12:00 (2 days",
        {"dressing": NOT_DONE, "dressing.type": "transparent", "at": t("13:00")},
        {"next_due": None, "dressing": {"type": "gauze", "chlorhexidine_disc": "no"}},
    ),
    row(
        "arrival accessed",
        "Needle change and dressing change are due by 8 April 2031, 12:00 (7 days",
        {"inserted_at": (t("10:00", 1), WHY), "dressed_at": (t("10:00", 1), WHY)},
    ),
    row(
        "line check, transfer",
        "Needle change and dressing change are due by 9 April 2031, 09:00 (7 days).",
        {"@0.at": t("08:00"), "@0.dressing": NOT_DONE, "@0.dressing.type": "gauze"},
        {"next_due": None},
    ),
    row(
        "de-access",
        "Next flush is due by 30 April 2031, 12:00 (28 days).",
        {"at": t("13:00"), "flushes": {"not_done": "refused"}},
        {"lock": {"not_done": "refused"}},
    ),
    row(
        "discharge",
        "Next flush is due by 30 April 2031, 10:00 (28 days)",
        {"@1.at": t("09:30")},
        {"next_due": None},
        before=(NEEDLE_IN, OUT),
    ),
    row(
        "patency treatment",
        "Thrombolytic check is due by 2 April 2031, 12:30 (30 minutes).",
        {"at": t("13:00"), "drug": ONLY},
        treatment(t("12:00")),
        before=(HELD,),
    ),
    row(
        "patency treatment",
        "Thrombolytic check is due by 2 April 2031, 14:00 (120 minutes).",
        {"at": t("13:00"), "drug": ONLY},
        treatment(t("12:00")),
        before=(HELD,),
    ),
    row(
        "flush",
        "Reported as next due: flush by 3 April 2031, 08:00.",
        {"next_due": ONLY, "next_due.flush": t("10:00", 3)},
        {"next_due": {"flush": t("08:00", 3)}},
    ),
    row(
        "access",
        "Reported as next due: needle change by 8 April 2031, 08:00",
        {"next_due": ONLY, "next_due.needle_change": t("07:00", 8)},
        {"next_due": {"needle_change": t("08:00", 8), "dressing_change": None}},
    ),
)

TEACHING = "access, de-access, discharge, line check"


def taught(understanding: str | None) -> Json:
    """Return teaching about the lock to the carer."""
    return {"teaching": {"about": "what the lock is for", "to": "carer", "understanding": understanding}}


TAUGHT = (
    row(
        TEACHING,
        "Taught to carer: what the lock is for; understanding shown by teach-back.",
        {
            "teaching": NOT_DONE,
            "teaching.about": "fever",
            "teaching.to": "patient",
            "teaching.understanding": ("states understanding", "needs more teaching", "unable to learn now"),
        },
        taught("taught back"),
    ),
    row(
        TEACHING,
        "verbalized understanding",
        {"teaching.understanding": ("taught back", "needs more teaching"), "teaching": NOT_DONE},
        taught("states understanding"),
    ),
    row(
        TEACHING,
        "more teaching is needed",
        {"teaching.understanding": ("taught back", "states understanding")},
        taught("needs more teaching"),
    ),
    row(
        TEACHING,
        "unable to learn at this time",
        {"teaching.understanding": ("taught back", "needs more teaching")},
        taught("unable to learn now"),
    ),
    row(
        TEACHING,
        "No teaching was given: none at hand.",
        {"teaching": {"about": "the lock", "to": "carer"}, "teaching.not_done": "refused"},
        {"teaching": NOT_DONE},
    ),
)

SIGNED = (
    row(
        "access, de-access, flush, line check, evaluation, discharge",
        "Charted by: Rufus Quill, NP, CASE-N7 (event 2 April 2031, 12:00; entered 2 April 2031, 12:25",
        {
            "by": OTHER,
            "by.name": "Della Marrow",
            "by.credential": "RN",
            "by.id": "CASE-N9",
            "charted_at": t("12:40"),
            "at": t("12:10"),
        },
        {"by": QUILL, "charted_at": t("12:25")},
    ),
    row(
        "access, de-access, flush",
        "Verified by: Tobias Wren, RN, CASE-N2",
        {
            "verified_by": OTHER,
            "verified_by.name": "Della Marrow",
            "verified_by.credential": "MD",
            "verified_by.id": "CASE-N3",
        },
        {"verified_by": {}},
    ),
    row(
        "access",
        "Ines Corwin is new to this procedure and was supervised by Tobias Wren, RN (CASE-N2).",
        {"by.new_to_procedure": "no", "by.name": "Rufus Quill", "verified_by": OTHER},
        {"by": {"new_to_procedure": "yes"}, "verified_by": {}},
    ),
    row(
        "access, flush, de-access, line check, transfer, patient facts",
        "LATE ENTRY, charted 2 April 2031, 20:00, for 2 April 2031, 12:00; recalled from worksheet.",
        {"late_entry": "memory", "charted_at": t("21:00"), "at": t("12:10")},
        {"late_entry": "worksheet", "charted_at": t("20:00")},
    ),
    row("access", "Allergies: none known", {"patient.allergies": [{"substance": "latex"}]}),
    row("access", "Weight: 70 kg", {"patient.weight_kg": 60}),
    row("access", "Born: 3 February 1970", {"patient.birth_date": "1971-02-03"}),
    row("access", "implanted 12 November 2030", {"port.implanted_on": "2030-11-13"}, {"tip_confirmed": "no"}),
)

PREPARED = (
    row(
        SITED,
        "Patient identified by name and birth date",
        {"identifiers_checked": (["name", "record number"], WHY)},
        {"identifiers_checked": ["name", "birth date"]},
    ),
    row(
        SITED,
        "allergies checked",
        {"allergies_checked": ("no", WHY)},
        {"allergies_checked": "yes", "identifiers_checked": ["name", "birth date"]},
    ),
    row(
        SITED,
        "allergies NOT checked",
        {"allergies_checked": ("yes", WHY)},
        {"allergies_checked": "no", "identifiers_checked": ["name", "birth date"]},
    ),
    row(
        SITED,
        "Allergies were checked.",
        {"allergies_checked": ("no", WHY)},
        {"allergies_checked": "yes", "identifiers_checked": None},
    ),
    row(
        SITED,
        "The patient's identifiers were not checked: patient asleep.",
        {"identifiers_checked": (["name", "birth date"],)},
        {"identifiers_checked": WHY},
    ),
    row(
        SITED,
        "Allergies were not checked: patient asleep.",
        {"allergies_checked": ("yes", "no")},
        {"allergies_checked": WHY},
    ),
    row(SITED, "Order or protocol: CASE-ORDER-9.", {"order": "CASE-ORDER-8"}, {"order": "CASE-ORDER-9"}),
    row(SITED, "Reason: routine care.", {"reason": "fever"}, {"reason": "routine care"}),
    row(
        SITED,
        "The procedure was explained, and the patient or parent agreed.",
        {"explained_and_agreed": ("no", WHY)},
        {"explained_and_agreed": "yes"},
    ),
    row(
        SITED,
        "The procedure was NOT explained or NOT agreed to.",
        {"explained_and_agreed": ("yes", WHY)},
        {"explained_and_agreed": "no"},
    ),
    row(
        SITED,
        "Explanation and agreement were not obtained: patient asleep.",
        {"explained_and_agreed": ("yes", "no")},
        {"explained_and_agreed": WHY},
    ),
    row(
        DRESSED,
        "Technique: hand hygiene, masks for all present, sterile gloves and sterile field.",
        {
            "technique": ONLY,
            "technique.hand_hygiene": "no",
            "technique.masks": "no",
            "technique.sterile_gloves": "no",
            "technique.sterile_field": "no",
        },
    ),
    *(
        row(DRESSED, f"NO {words}", {f"technique.{key}": "yes"}, {"technique": {key: "no"}})
        for key, words in (
            ("hand_hygiene", "hand hygiene"),
            ("masks", "masks for all present"),
            ("sterile_gloves", "sterile gloves"),
            ("sterile_field", "sterile field"),
        )
    ),
    row(
        DRESSED,
        "Skin prepared with povidone-iodine at 11:55, dry site, 60 seconds of friction, 90 seconds of drying; fully "
        "dry before anything touched it.",
        {
            "antisepsis": NOT_DONE,
            "antisepsis.agent": "iodine tincture",
            "antisepsis.started_at": t("11:50"),
            "antisepsis.skin": "moist",
            "antisepsis.scrub_s": 30,
            "antisepsis.dry_s": 60,
            "antisepsis.fully_dry": "no",
        },
        {
            "antisepsis": {
                "agent": "povidone-iodine",
                "started_at": t("11:55"),
                "skin": "dry",
                "scrub_s": 60,
                "dry_s": 90,
                "fully_dry": "yes",
            }
        },
    ),
    row(DRESSED, "NOT fully dry", {"antisepsis.fully_dry": "yes"}, {"antisepsis": {"fully_dry": "no"}}),
    row(
        DRESSED,
        "Skin antisepsis was not done: none at hand.",
        {"antisepsis": {"agent": "povidone-iodine"}},
        {"antisepsis": NOT_DONE},
    ),
)

DRESSINGS = (
    *(
        row(
            DRESSED,
            f"Dressing applied: {words},",
            {"dressing.type": other, "dressing": NOT_DONE},
            {"dressing": {"type": kind, "chlorhexidine_disc": "no"}},
        )
        for kind, words, other in (
            ("transparent", "transparent dressing", "gauze"),
            ("transparent with chlorhexidine", "transparent dressing with chlorhexidine", "transparent"),
            ("gauze", "gauze dressing", "transparent"),
            ("gauze under transparent", "gauze under a transparent dressing", "gauze under wings"),
            ("gauze under wings", "transparent dressing with gauze under the needle wings only", "gauze"),
        )
    ),
    *(
        row(
            DRESSED,
            words,
            {f"dressing.{key}": "no" if value == "yes" else "yes", "dressing": NOT_DONE},
            {"dressing": {key: value}},
        )
        for key, value, words in (
            ("chlorhexidine_disc", "yes", "chlorhexidine disc at the needle"),
            ("chlorhexidine_disc", "no", "no chlorhexidine disc"),
            ("site_visible", "yes", "puncture site in view"),
            ("site_visible", "no", "puncture site NOT in view"),
            ("without_tension", "yes", "applied without tension"),
            ("without_tension", "no", "applied WITH tension on the skin"),
            ("labelled", "yes", "labeled with date and initials"),
            ("labelled", "no", "NOT labeled"),
            ("barrier_film", "yes", "Barrier film applied to the skin."),
            ("barrier_film", "no", "No barrier film was applied to the skin."),
        )
    ),
    row(DRESSED, "secured with adhesive strips", {"dressing.securement": "stitches", "dressing": NOT_DONE}),
    row(DRESSED, "No dressing was applied: none at hand.", {"dressing": {"type": "gauze"}}, {"dressing": NOT_DONE}),
    row(
        DRESSED,
        "The needleless connector was changed.",
        {"connector_changed": ("no", NOT_DONE)},
        {"connector_changed": "yes"},
    ),
    row(
        DRESSED,
        "The needleless connector was not changed.",
        {"connector_changed": ("yes",)},
        {"connector_changed": "no"},
    ),
    row(
        DRESSED,
        "The needleless connector was not changed: none at hand.",
        {"connector_changed": ("yes", "no")},
        {"connector_changed": NOT_DONE},
    ),
    row(
        DRESSED,
        "Every needleless connector and side port has a disinfecting cap.",
        {"disinfecting_caps": ("no", NOT_DONE)},
    ),
    row(
        DRESSED,
        "NOT every needleless connector and side port has a disinfecting cap.",
        {"disinfecting_caps": ("yes", NOT_DONE)},
        {"disinfecting_caps": "no"},
    ),
    row(
        DRESSED,
        "Disinfecting caps were not applied: none at hand.",
        {"disinfecting_caps": ("yes", "no")},
        {"disinfecting_caps": NOT_DONE},
    ),
    row(
        DRESSED,
        "Removed because of a reaction: disc and adhesive.",
        {"taken_off": (["disc"], ["latex"])},
        {"taken_off": ["disc", "adhesive"]},
    ),
    row(
        "dressing change, line check, arrival accessed",
        "Dressing found intact.",
        {"dressing_found": (["soiled"], ["damp", "loose"], WHY)},
        {"dressing_found": ["intact"]},
    ),
    row(
        "dressing change, line check, arrival accessed",
        "Dressing found damp and loose.",
        {"dressing_found": (["intact"], ["damp"])},
        {"dressing_found": ["damp", "loose"]},
    ),
    row(
        "dressing change, line check, arrival accessed",
        "The condition of the dressing was not assessed: patient asleep.",
        {"dressing_found": ["intact"]},
        {"dressing_found": WHY},
    ),
    row("dressing change", "2 April 2031, 12:00: dressing of the implanted port changed", {"at": t("13:00")}),
    row("dressing change", "dressing of the implanted port changed", {}, contrary={"dressing": NOT_DONE}),
    row("dressing change", "The needle, in since 09:00, stayed in.", {"@0.at": t("08:00")}),
)

SITES = (
    *(
        row(SITED, words, {f"site.{key}": other, "site": WHY}, {"site": {key: value}})
        for key, value, words, other in (
            ("skin", "intact", "skin intact", "broken"),
            ("skin", "broken", "skin broken", "intact"),
            ("skin", "thinned", "skin thinned", "intact"),
            ("skin", "port visible", "port visible through the skin", "intact"),
            ("erythema", "none", "no erythema", "present"),
            ("swelling", "none", "no swelling", "present"),
            ("tenderness", "none", "no tenderness", "present"),
            ("drainage", "none", "no drainage", "purulent"),
            ("drainage", "purulent", "purulent drainage", "clear"),
            ("port", "stable", "port stable to the touch", "tilted"),
            ("port", "flipped", "port flipped", "stable"),
            ("port", "not felt", "port not felt", "stable"),
            ("incision", "healed", "incision healed", "opening"),
        )
    ),
    row(
        SITED,
        "erythema present up to 12 mm from the port",
        {"site.erythema": "none", "site.erythema_mm": 5, "site": WHY},
        {"site": {"erythema": "present", "erythema_mm": 12}},
    ),
    row(
        SITED,
        "swelling present (port pocket and arm), growing",
        {"site.swelling": "none", "site.swelling_where": ["face or neck"], "site.swelling_change": "less"},
        {"site": {"swelling": "present", "swelling_where": ["port pocket", "arm"], "swelling_change": "growing"}},
    ),
    row(SITED, "The site was not assessed: patient asleep.", {"site": {"skin": "intact"}}, {"site": WHY}),
    row(
        SITED,
        "Site scale of the unit: score 2",
        {"site.scale": ONLY, "site.scale.name": "Other scale", "site.scale.score": 1},
        {"site": {"scale": {"name": "Site scale of the unit", "score": 2}}},
    ),
    row(SITED, "More about the site: old bruise.", {"site.detail": "scar"}, {"site": {"detail": "old bruise"}}),
    row(SITED, "Pain score: 3 of 10.", {"pain": (4, WHY)}, {"pain": 3}),
    row(SITED, "Pain was not assessed: patient asleep.", {"pain": 3}, {"pain": WHY}),
    row(
        SITED,
        "The patient tolerated it well.",
        {"response": ("tolerated with discomfort", "not tolerated", WHY)},
        {"response": "tolerated well"},
    ),
    row(
        SITED,
        "The patient tolerated it with discomfort.",
        {"response": ("tolerated well", "not tolerated")},
        {"response": "tolerated with discomfort"},
    ),
    row(SITED, "The patient did NOT tolerate it", {"response": "tolerated well"}, {"response": "not tolerated"}),
    row(
        SITED,
        "The patient's response was not assessed: patient asleep.",
        {"response": "tolerated well"},
        {"response": WHY},
    ),
)

SITES += (
    row("line check", "no swelling", {}, against={"signs": [{"what": "swelling", "where": "port pocket"}]}),
    row("line check", "no swelling", {}, against={"site.swelling_where": ["arm"], "site.swelling_change": "growing"}),
    row("line check", "no erythema", {}, against={"signs": [{"what": "redness", "where": "port pocket"}]}),
    row("line check", "no erythema", {}, against={"site.erythema_mm": 12}),
    row("line check", "no drainage", {}, against={"signs": [{"what": "pus", "where": "needle site"}]}),
)
SIGN: Json = {
    "what": "fever",
    "where": "port pocket",
    "temperature_c": 38.9,
    "began_at": t("11:30"),
    "during": "infusion",
    "change": "new",
    "detail": "with shivers",
}
PROBLEM: Json = {
    "what": "swelling seen",
    "action": "infusion stopped",
    "told": QUILL,
    "told_at": t("12:05"),
    "reply": "hold it",
}
PROBLEMS = (
    row(
        SITED,
        "Sign: fever (port pocket), 38.9 degrees Celsius, since 11:30, during infusion, new: with shivers.",
        {
            "signs": ONLY,
            "signs.0.what": "chills",
            "signs.0.where": "arm",
            "signs.0.temperature_c": 38.1,
            "signs.0.began_at": t("11:00"),
            "signs.0.during": "flush",
            "signs.0.change": "less",
            "signs.0.detail": "no shivers",
        },
        {"signs": [SIGN]},
    ),
    row(SITED, "Problem: swelling seen.", {"problems": ONLY, "problems.0.what": "leak"}, {"problems": [PROBLEM]}),
    row(SITED, "Action: infusion stopped.", {"problems.0.action": "none yet"}, {"problems": [PROBLEM]}),
    row(
        SITED,
        f"{QUILL_SIGNED} was notified at 12:05 and replied: hold it.",
        {
            "problems.0.told": OTHER,
            "problems.0.told_at": t("12:06"),
            "problems.0.reply": "go on",
        },
        {"problems": [PROBLEM]},
    ),
    row(SITED, f"{QUILL_SIGNED} was notified", {"problems.0.told": OTHER}, {"problems": [PROBLEM]}),
    row(
        SITED,
        "Someone was notified at 12:05",
        {"problems.0.told_at": t("12:06")},
        {"problems": [{**PROBLEM, "told": None}]},
    ),
    row(
        SITED,
        "Reply: hold it.",
        {"problems.0.reply": "go on"},
        {"problems": [{**PROBLEM, "told": None, "told_at": None}]},
    ),
    row(SITED, "Remarks: door of room 4 sticks.", {"remarks": "none"}, {"remarks": "door of room 4 sticks"}),
    row(
        SITED,
        "Further supply: saline syringe, lot LOT-Q1, expires 31 May 2032, without latex.",
        {
            "supplies": ONLY,
            "supplies.0.name": "gauze",
            "supplies.0.lot": "LOT-Q2",
            "supplies.0.expires": "2032-06-30",
            "supplies.0.latex": "yes",
        },
        {"supplies": [{"name": "saline syringe", "lot": "LOT-Q1", "expires": "2032-05-31", "latex": "no"}]},
    ),
)

LABELS = (
    row(
        "access",
        "needle lot LOT-A7 (expires 31 May 2032)",
        {"needle.lot": "LOT-A8", "needle.expires": "2032-06-30"},
        {"needle": {"lot": "LOT-A7", "expires": "2032-05-31"}},
    ),
    row("access", "needle without latex", {"needle.latex": "yes"}, {"needle": {"latex": "no"}}),
    row("access", "needle contains latex", {"needle.latex": "no"}, {"needle": {"latex": "yes"}}),
    row("access", "volume of needle and extension 0.4 mL", {"needle.set_volume_ml": 0.5}),
    row("access", "volume of connectors 0.1 mL", {"needle.connector_volume_ml": 0.2}),
    row(
        DRESSED,
        "antiseptic lot LOT-C1 (expires 31 May 2032)",
        {"antisepsis.lot": "LOT-C2", "antisepsis.expires": "2032-06-30"},
        {"antisepsis": {"lot": "LOT-C1", "expires": "2032-05-31"}},
    ),
    row(
        FLUSHED,
        "flush lot LOT-F1 (expires 31 May 2032)",
        {"flushes.0.lot": "LOT-F2", "flushes.0.expires": "2032-06-30", "flushes": DWELL},
        {"flushes": [{"lot": "LOT-F1", "expires": "2032-05-31"}]},
    ),
    row(
        FLUSHED,
        "lock lot LOT-H1 (expires 31 May 2032)",
        {"lock.lot": "LOT-H2", "lock.expires": "2032-06-30", "lock": NOT_DONE},
        {"lock": {"drug": "heparin", "units_per_ml": 100, "volume_ml": 5, "lot": "LOT-H1", "expires": "2032-05-31"}},
    ),
    row(
        DRESSED,
        "dressing lot LOT-D1 (expires 31 May 2032)",
        {"dressing.lot": "LOT-D2", "dressing.expires": "2032-06-30", "dressing": NOT_DONE},
        {"dressing": {"lot": "LOT-D1", "expires": "2032-05-31"}},
    ),
    row(
        DRESSED,
        "dressing without latex",
        {"dressing.latex": "yes", "dressing": NOT_DONE},
        {"dressing": {"latex": "no"}},
    ),
)

USES = (
    row("line check", "Connections are secure and clamps correct.", {"connections_secure": ("no", WHY)}),
    row(
        "line check",
        "Connections or clamps are NOT secure.",
        {"connections_secure": ("yes", WHY)},
        {"connections_secure": "no"},
    ),
    row(
        "line check",
        "Connections were not assessed: patient asleep.",
        {"connections_secure": "yes"},
        {"connections_secure": WHY},
    ),
    row(
        "line check",
        "Found at the line: clamp open and needle partly out.",
        {"found": (["clamp open"], ["connector off"])},
        {"found": ["clamp open", "needle partly out"], "connections_secure": "no"},
    ),
    row(
        "line check",
        "Connections are secure",
        {"connections_secure": "no"},
        against={"found": ["connector off"]},
    ),
    row(
        "line check",
        "Nothing is running.",
        {"nothing_runs": "no"},
        {"nothing_runs": "yes"},
        against={"infusion": "5% dextrose at 20 mL per hour"},
    ),
    *(
        row(
            "line use",
            f"{purpose} through the implanted port stopped, right chest: 5% dextrose."
            if action == "stopped"
            else f"{purpose} {action} through the implanted port, right chest: 5% dextrose.",
            {"purpose": other, "action": other_action, "what": "saline", "port.side": "left"},
            {"purpose": purpose, "action": action, "what": "5% dextrose", "vesicant": "no"},
        )
        for purpose, action, other, other_action in (
            ("infusion", "started", "transfusion", "stopped"),
            ("infusion", "stopped", "medication", "started"),
            ("medication", "given", "infusion", "started"),
            ("transfusion", "started", "infusion", "stopped"),
        )
    ),
    row("line use", "It is a vesicant.", {"vesicant": ("no", WHY)}, {"vesicant": "yes"}),
    row("line use", "It is not a vesicant.", {"vesicant": ("yes", WHY)}),
    row(
        "line use",
        "Whether it is a vesicant was not assessed: patient asleep.",
        {"vesicant": ("yes", "no")},
        {"vesicant": WHY},
    ),
    row("line use", "Product as labeled: VAS-1.", {"product": "VAS-2"}, {"product": "VAS-1"}),
    row("line use", "Blood return before use: present.", {"blood_return_before": ("none", "sluggish", WHY)}),
    row(
        "line use",
        "Blood return before use: NONE",
        {"blood_return_before": ("present", "sluggish")},
        {"blood_return_before": "none"},
    ),
    row(
        "line use",
        "Blood return before use: sluggish",
        {"blood_return_before": ("present", "none")},
        {"blood_return_before": "sluggish"},
    ),
    row(
        "line use",
        "Blood return before use was not assessed: patient asleep.",
        {"blood_return_before": ("present", "none")},
        {"blood_return_before": WHY},
    ),
    row(
        "line use",
        "Blood return before it was stopped: present.",
        {"blood_return_before": ("none", "sluggish"), "action": "started"},
        {"purpose": "infusion", "action": "stopped"},
    ),
    row(
        "line use",
        "Blood cultures: paired, before antibiotics and through a new connector.",
        {
            "cultures": ONLY,
            "cultures.paired": "no",
            "cultures.before_antibiotics": "no",
            "cultures.new_connector": "no",
        },
        {
            "purpose": "blood sampling",
            "action": None,
            "what": "blood cultures",
            "cultures": {"paired": "yes", "before_antibiotics": "yes", "new_connector": "yes"},
        },
    ),
    row(
        "line use",
        "Injection rate 4 mL per second and pressure limit 250 psi.",
        {"flow_ml_per_s": 5, "pressure_psi": 300},
        {"purpose": "power injection", "what": "contrast medium", "flow_ml_per_s": 4, "pressure_psi": 250},
    ),
    row(
        "needle dislodged",
        "needle of the implanted port found partly out",
        {"extent": "completely out"},
    ),
    row(
        "needle dislodged",
        "needle of the implanted port found completely out",
        {"extent": "partly out"},
        {"extent": "completely out"},
    ),
    row("needle dislodged", "Nothing was running.", {"running": "5% dextrose"}),
    row(
        "needle dislodged",
        "Running when found: 5% dextrose.",
        {"running": ("nothing", "saline")},
        {"running": "5% dextrose"},
    ),
    row(
        "needle dislodged",
        "Done at once: stopped, clamped and not pushed back.",
        {"actions": (["stopped"], ["aspirated"])},
    ),
)

TREATMENTS = (
    row(
        "patency treatment",
        "alteplase instilled into the line of the implanted port",
        {"drug": "urokinase"},
        treatment(t("12:00")),
        before=(HELD,),
    ),
    row(
        "patency treatment",
        "Dose: 2 mg of alteplase in 2 mL, mixed at 11:45, lot LOT-T1.",
        {
            "dose_mg": 1,
            "drug": "urokinase",
            "volume_ml": 1,
            "reconstituted_at": t("11:30"),
            "drug_lot": "LOT-T2",
        },
        {**treatment(t("12:00")), "reconstituted_at": t("11:45"), "drug_lot": "LOT-T1"},
        before=(HELD,),
    ),
    row(
        "patency treatment",
        "Dose: 5,000 units of urokinase",
        {"dose_units": 10000, "drug": "alteplase"},
        {**treatment(t("12:00")), "drug": "urokinase", "dose_mg": None, "dose_units": 5000},
        before=(HELD,),
    ),
    row(
        "patency treatment",
        "Instilled: 2 mL of alteplase",
        {"drug": "urokinase", "volume_ml": 1},
        {**treatment(t("12:00")), "dose_mg": None},
        before=(HELD,),
    ),
    *(
        row(
            "patency treatment",
            words,
            {"patency_before": other},
            {**treatment(t("12:00")), "patency_before": value},
            before=(HELD,),
        )
        for value, words, other in (
            (
                "no blood return",
                "Before the dose the line gave no blood return.",
                ("sluggish", "no flush and no blood return"),
            ),
            (
                "no flush and no blood return",
                "Before the dose the line could not be flushed and gave no blood return.",
                ("sluggish", "no blood return"),
            ),
            ("sluggish", "Before the dose the line was sluggish.", ("no blood return",)),
        )
    ),
    row(
        "patency treatment",
        "Asked before the dose: anticoagulant none, platelets 210 x 10^9 per L, no recent bleeding and no infection of "
        "the catheter known or suspected.",
        {
            "bleeding_risk": ONLY,
            "bleeding_risk.anticoagulant": "warfarin",
            "bleeding_risk.platelets_10e9_per_l": 40,
            "bleeding_risk.recent_bleeding": "yes",
            "bleeding_risk.catheter_infection": "yes",
        },
        treatment(t("12:00")),
        before=(HELD,),
    ),
    row(
        "patency treatment",
        "RECENT BLEEDING",
        {"bleeding_risk.recent_bleeding": "no"},
        {"bleeding_risk": {"recent_bleeding": "yes"}},
        before=(HELD,),
    ),
    row(
        "patency treatment",
        "Other causes: none found.",
        {"bleeding_risk.other_causes": "kink"},
        treatment(t("12:00")),
        before=(HELD,),
    ),
    row(
        "patency treatment",
        "Internal volume of the lumen: 0.9 mL; weight 20 kg.",
        {"lumen_ml": 1.5, "patient.weight_kg": 21},
        {**treatment(t("12:00")), "lumen_ml": 0.9},
        before=(HELD,),
        parts={"patient": {"weight_kg": 20}},
    ),
    row(
        "patency treatment",
        "This is the second dose; the first was instilled at 10:00.",
        {"second_dose_of": "access-1", "@1.at": t("09:30")},
        {**treatment(t("12:00")), "second_dose_of": "patency-treatment-1"},
        before=HELD_THEN_DOSE,
    ),
    row(
        "patency treatment",
        "This is the second dose; the first is not in this record.",
        {"second_dose_of": "patency-treatment-1"},
        {**treatment(t("12:00")), "second_dose_of": "dose-7"},
        before=HELD_THEN_DOSE,
    ),
    row(
        "patency check",
        "line of the implanted port checked 2 hours after alteplase was instilled at 10:00",
        {"treatment": "dose-7", "@1.at": t("10:30"), "@1.drug": "urokinase", "at": t("12:30")},
        before=HELD_THEN_DOSE,
    ),
    row(
        "patency check",
        "checked after a treatment that is not in this record",
        {"treatment": "patency-treatment-1"},
        {"treatment": "dose-7"},
        before=HELD_THEN_DOSE,
    ),
    row("patency check", "Withdrawn from the line: 5 mL.", {"withdrawn_ml": 4}, before=HELD_THEN_DOSE),
    row(
        "evaluation",
        f"line of the implanted port evaluated by {QUILL_SIGNED}",
        {
            "cleared_by": OTHER,
            "cleared_by.name": "Della Marrow",
            "cleared_by.credential": "RN",
            "cleared_by.id": "CASE-N9",
        },
        {"cleared_by": QUILL},
        before=(HELD,),
    ),
    row("evaluation", "Finding: tip in place, no leak.", {"finding": "kink"}, before=(HELD,)),
    *(
        row(
            "evaluation",
            f"Decision: {words}, based on chest radiograph.",
            {"decision": other, "evidence": ["ultrasound"]},
            {"decision": value},
            before=(HELD,),
        )
        for value, words, other in (
            ("cleared for use", "the line is cleared for use", ("cleared with limits", "remains on hold")),
            ("cleared with limits", "the line is cleared with limits", ("cleared for use", "remains on hold")),
            ("remains on hold", "the line remains on hold", "cleared for use"),
            ("thrombolytic ordered", "a thrombolytic is ordered", "cleared for use"),
            ("line to be removed", "the line is to be removed", "cleared for use"),
            ("port replaced", "the port is replaced", "cleared for use"),
        )
    ),
    row(
        "evaluation",
        "Evidence: chest radiograph.",
        {"evidence": ["ultrasound"]},
        {"decision": None},
        before=(HELD,),
    ),
    row(
        "evaluation",
        "Limits: no vesicant and no power injection.",
        {"limits": (["no vesicant"], ["blood return before each use"])},
        {"decision": "cleared with limits", "limits": ["no vesicant", "no power injection"]},
        before=(HELD,),
        against={"decision": ("cleared for use", "remains on hold")},  # the sheet then has no limit
    ),
    row(
        "evaluation",
        "Limits that end: no vesicant.",
        {"lifts": ["no power injection"]},
        {"lifts": ["no vesicant"]},
        before=(HELD, evaluation(t("11:00"), decision="cleared with limits", limits=["no vesicant"])),
        against={"decision": "remains on hold", "@1.limits": ["no power injection"]},
    ),
    row(
        "evaluation",
        "Holds that end: no blood return.",
        {"ends": ["swelling"]},
        {"ends": ["no blood return"]},
        before=(HELD,),
        against={
            "decision": ("remains on hold", "line to be removed", "thrombolytic ordered"),
            "cleared_by.credential": "RN",
            "@0.blood_return": "present",
        },
    ),
    row(
        "extravasation care",
        "care of a known or possible extravasation of an antibiotic (invented)",
        {"product": "saline"},
    ),
    row("extravasation care", "Estimated volume outside the vein: 2 mL.", {"estimated_ml": 3}),
    row("extravasation care", "Aspirated through the needle: 1 mL.", {"aspirated_ml": 3}),
    row(
        "extravasation care",
        "Antidote given: dexrazoxane.",
        {"antidote": ("hyaluronidase", NOT_DONE)},
        {"antidote": "dexrazoxane"},
    ),
    row("extravasation care", "No antidote was given: none ordered.", {"antidote": "dexrazoxane"}),
    row("extravasation care", "No compress was applied.", {"compress": ("warm", "cold")}, {"compress": "none"}),
    row("extravasation care", "A cold compress was applied.", {"compress": ("warm", "none")}),
    row("extravasation care", "A photograph was taken.", {"photograph": "no"}),
    row("extravasation care", "No photograph was taken.", {"photograph": "yes"}, {"photograph": "no"}),
    row("extravasation care", "Follow-up: a look every four hours.", {"follow_up": "none"}),
)

GONE = (NEEDLE_IN, needle_out(t("10:00")))
MOVES = (
    *(
        row(
            "discharge",
            f"2 April 2031, 12:00: {words}.",
            {"destination": other, "at": t("13:00")},
            {"destination": value},
            before=GONE,
        )
        for value, words, other in (
            ("home", "patient discharged home", "hospice"),
            ("home with home-infusion service", "patient discharged home with home-infusion service", "home"),
            ("other facility", "patient discharged to another facility", "home"),
            ("hospice", "patient discharged to hospice", "home"),
            ("died", "the patient died", "home"),
        )
    ),
    row("discharge", "No needle was left in the port.", {"needle_in": "yes"}, before=GONE),
    row("discharge", "The needle was left IN the port.", {"needle_in": "no"}, {"needle_in": "yes"}),
    row(
        "discharge",
        f"Care of the line from here: {QUILL_SIGNED}.",
        {"handed_to": OTHER},
        {"handed_to": QUILL},
        before=GONE,
    ),
    row(
        "discharge",
        f"The needle is to be taken out by {QUILL_SIGNED}, on 5 April 2031, 09:00; if it comes out before, "
        "call Ward Plover.",
        {
            "needle_removal": ONLY,
            "needle_removal.by": OTHER,
            "needle_removal.at": t("10:00", 5),
            "needle_removal.call": "Ward Heron",
        },
        {"needle_in": "yes", "needle_removal": {"by": QUILL, "at": t("09:00", 5), "call": "Ward Plover"}},
        against={"needle_in": "no"},
    ),
    row(
        "transfer",
        "patient moved from Ward Plover to Ward Curlew, room 9 (inpatient).",
        {"to_unit": "Ward Heron", "to_room": "8", "to_setting": "home", "stay.unit": "Ward Gull"},
        {"to_room": "9"},
    ),
    row("transfer", f"Care of the line was taken over by {QUILL_SIGNED}.", {"handed_to": OTHER}, {"handed_to": QUILL}),
    row(
        "port implanted",
        "Catheter tip: cavoatrial junction, confirmed by chest radiograph.",
        {"tip_location": "subclavian vein", "tip_method": "fluoroscopy"},
        before=(),
        parts={"port": {"implanted_on": "2031-04-02", "tip": None}},
    ),
    row(
        "port removed",
        "2 April 2031, 12:00: implanted port removed, right chest. Reason: treatment finished.",
        {"reason": "infection", "at": t("13:00")},
        before=GONE,
    ),
    row("port removed", "Port and catheter came out whole.", {"complete": "no"}, before=GONE),
    row(
        "port removed",
        "Port and catheter did NOT come out whole.",
        {"complete": "yes"},
        {"complete": "no"},
        before=GONE,
    ),
    row(
        "patient facts",
        "Allergy reported: latex; reaction: hives.",
        {"allergies": ONLY, "allergies.0.substance": "iodine", "allergies.0.reaction": "itching"},
        {"allergies": [{"substance": "latex", "reaction": "hives"}]},
    ),
    row(
        "patient facts",
        "Allergy withdrawn: latex; reason: tested.",
        {"allergies_withdrawn.0.substance": "iodine", "allergies_withdrawn.0.reason": "error"},
        {"allergies_withdrawn": [{"substance": "latex", "reason": "tested"}]},
        parts={"patient": {"allergies": [{"substance": "latex"}]}},
    ),
    row(
        "patient facts",
        "Condition found: G6PD deficiency, on 1 April 2031.",
        {"history.0.condition": "methemoglobinemia", "history.0.found_on": "2031-04-02"},
        {"history": [{"condition": "G6PD deficiency", "found_on": "2031-04-01"}]},
    ),
    row("patient facts", "Weight: 71 kg.", {"weight_kg": 72}, {"weight_kg": 71}),
    row("patient facts", "New room: 7.", {"room": "8"}, {"room": "7"}),
    row("patient facts", "Cared for at home by a sister.", {"carer": "a brother"}, {"carer": "a sister"}),
    *(
        row(
            "port facts",
            f"port information obtained, from {words}.",
            {"source": other},
            {"source": value, "valved": "no"},
        )
        for value, words, other in (
            ("card", "the patient's card", "radiograph"),
            ("radiograph", "a radiograph", "card"),
            ("operation report", "the operation report", "card"),
            ("other facility", "another facility", "card"),
        )
    ),
    row(
        "port facts",
        "Catheter tip: right atrium, confirmed by ultrasound, 1 April 2031.",
        {"tip.location": "subclavian vein", "tip.method": "fluoroscopy", "tip.on": "2031-04-02"},
        {"tip": {"location": "right atrium", "method": "ultrasound", "on": "2031-04-01"}},
    ),
    row(
        "port facts",
        "The port is rated for power injection, at most 4 mL per second, at most 250 psi.",
        {"power.rated": "no", "power.max_flow_ml_per_s": 5, "power.max_pressure_psi": 300},
        {"power": {"rated": "yes", "max_flow_ml_per_s": 4, "max_pressure_psi": 250}},
    ),
    row("port facts", "The port is NOT rated for power injection.", {"power.rated": "yes"}, {"power": {"rated": "no"}}),
    row("port facts", "Volume of catheter and port: 1.1 mL.", {"catheter_volume_ml": 1.2}, {"catheter_volume_ml": 1.1}),
    row("port facts", "The catheter has a valve.", {"valved": "no"}, {"valved": "yes"}),
    row("port facts", "The catheter has no valve.", {"valved": "yes"}, {"valved": "no"}),
    row(
        "port facts",
        "On the side of the port: lymphedema.",
        {"arm_history": ["dialysis fistula"]},
        {"arm_history": ["lymphedema"]},
    ),
    row(
        "flushed elsewhere",
        "reported that the port was flushed on 20 March 2031 at Clinic Sandpiper (fictional), according to patient.",
        {"on": "2031-03-21", "where": "Clinic Wren", "by_word_of": "a letter"},
        before=(),
    ),
    row(
        "flushed elsewhere",
        "Locked there with 5 mL of heparin, 100 units per mL.",
        {"lock.drug": "4% citrate", "lock.volume_ml": 3, "lock.units_per_ml": 10, "lock": WHY},
        {"lock": {"drug": "heparin", "volume_ml": 5, "units_per_ml": 100}},
        before=(),
    ),
)

CORRECTIONS = (
    row(
        "addendum",
        "ADDENDUM of 2 April 2031, 12:00 to entry access-1 (access, 2 April 2031, 09:00).",
        {"of": "access-9", "at": t("13:00"), "@0.at": t("08:00")},
        {"of": "access-1", "charted_at": t("12:00"), "text": "patient was anxious"},
    ),
    row(
        "addendum",
        "to entry access-9, which is not in this record",
        {"of": "access-1"},
        {"of": "access-9", "text": "patient was anxious"},
    ),
    row(
        "addendum",
        "Added: patient was anxious.",
        {"text": "patient was calm"},
        {"of": "access-1", "text": "patient was anxious"},
    ),
    row(
        "addendum, amendment, retraction",
        "Reason: wrong line read.",
        {"reason": "typing error"},
        {"of": "access-1", "text": "patient was anxious", "reason": "wrong line read", "sets": {"pain": 2}},
    ),
    row(
        "amendment",
        "AMENDMENT of 2 April 2031, 12:00 to entry access-1 (access, 2 April 2031, 09:00).",
        {"of": "access-9", "at": t("13:00"), "@0.at": t("08:00")},
        {"of": "access-1", "charted_at": t("12:00"), "sets": {"pain": 2}},
    ),
    row(
        "amendment",
        "Pain score: was 1, now 2.",
        {"sets.pain": 3, "@0.pain": 4},
        {"of": "access-1", "sets": {"pain": 2}},
    ),
    row(
        "amendment",
        "Pain score: not recorded before, now 2.",
        {"sets.pain": 3},
        {"of": "access-1", "sets": {"pain": 2}},
        before=(access(t("09:00"), pain=None),),
        contrary={"@0.pain": 4},
    ),
    row(
        "addendum",
        "Added: pain score: 2.",
        {"adds.pain": 3},
        {"of": "access-1", "adds": {"pain": 2}},
        before=(access(t("09:00"), pain=None),),
    ),
    row(
        "retraction",
        "RETRACTED on 2 April 2031, 12:00 by Ines Corwin, RN (CASE-N1): entry access-1 (access, 2 April 2031, 09:00)",
        {"of": "access-9", "at": t("13:00"), "by": OTHER, "@0.at": t("08:00")},
        {"of": "access-1", "charted_at": t("12:00")},
    ),
    row(
        "retraction",
        "of entry access-1 stays in the record for audit; none of it is stated here as fact.",
        {"of": "access-9"},
        {"of": "access-1"},
    ),
    row(
        "co-signature",
        "CO-SIGNATURE of 2 April 2031, 12:00 to entry access-1 (access, 2 April 2031, 09:00), as preceptor.",
        {"of": "access-9", "role": ("instructor", "second nurse"), "@0.at": t("08:00"), "at": t("13:00")},
        {"of": "access-1", "charted_at": t("12:00")},
    ),
)

# The important ones first.
ROWS: tuple[Row, ...] = (
    *PROOF,
    *FLUSHES,
    *LOCKS,
    *NEEDLES,
    *REMOVAL,
    *HOLDS,
    *TREATMENTS,
    *DUE,
    *TAUGHT,
    *SIGNED,
    *PREPARED,
    *DRESSINGS,
    *SITES,
    *PROBLEMS,
    *ARRIVAL,
    *LABELS,
    *USES,
    *MOVES,
    *CORRECTIONS,
)
