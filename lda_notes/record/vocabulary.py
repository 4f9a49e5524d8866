"""The closed vocabularies of a record: the trade's own terms, spelled as they are written and printed."""

from __future__ import annotations

from typing import Final, Literal

AllergenName = Literal[
    "chlorhexidine",
    "iodine",
    "isopropyl alcohol",
    "adhesive",
    "latex",
    "heparin",
    "lidocaine",
    "prilocaine",
    "alteplase",
    "vapocoolant",
    "benzyl alcohol",
    "shellfish",
    "contrast medium",
    "other",
]
"""The substance of a recorded allergy or sensitivity."""

HistoryName = Literal[
    "heparin-induced thrombocytopenia",
    "methemoglobinemia",
    "G6PD deficiency",
    "cold intolerance",
    "premature birth",
]
"""Conditions in the history that change which supplies may be used."""

Setting = Literal["inpatient", "emergency", "outpatient", "procedure area", "home"]
"""The kind of place that a unit is; surveillance counts only ``inpatient`` days."""

SiteArea = Literal["chest", "upper arm", "forearm", "abdomen", "thigh"]
Side = Literal["right", "left"]
TouchShape = Literal["smooth", "raised marks on the rim"]

AntisepticAgent = Literal[
    "chlorhexidine in alcohol",
    "aqueous chlorhexidine",
    "povidone-iodine",
    "iodine tincture",
    "70% isopropyl alcohol",
]
AnestheticAgent = Literal[
    "lidocaine 2.5% with prilocaine 2.5% cream",
    "lidocaine 4% cream",
    "intradermal lidocaine 1%",
    "vapocoolant spray",
]
DressingType = Literal[
    "transparent",
    "transparent with chlorhexidine",
    "gauze",
    "gauze under transparent",
    "gauze under wings",
]
"""``gauze under wings`` leaves the entry site visible; ``gauze under transparent`` hides it."""

DressingCondition = Literal["intact", "damp", "soiled", "loose", "missing"]
BloodReturn = Literal["present", "sluggish", "none"]
BloodLooks = Literal["like whole blood", "thin", "clotted"]
Resistance = Literal["none", "some", "cannot flush"]
FlushSolution = Literal["0.9% sodium chloride", "0.9% sodium chloride with benzyl alcohol", "5% dextrose"]
FlushTechnique = Literal["push-pause", "steady"]
LockDrug = Literal[
    "heparin",
    "0.9% sodium chloride",
    "taurolidine with citrate",
    "taurolidine with citrate and heparin",
    "4% citrate",
    "70% ethanol",
]
Preservative = Literal["none", "benzyl alcohol", "parabens"]
ThrombolyticDrug = Literal["alteplase", "urokinase"]
UsePurpose = Literal["infusion", "medication", "blood sampling", "transfusion", "power injection", "removal of lock"]
UseAction = Literal["started", "stopped", "given"]
RestoringStep = Literal[
    "checked clamp and needle seat",
    "repositioned patient",
    "cough or deep breath",
    "gentle push-pause flush",
    "needle re-seated",
    "needle replaced",
]
"""Measures to try when the port gives no blood, in the usual order."""

Bleeding = Literal["none", "stopped with pressure", "continuing"]
Response = Literal["tolerated well", "tolerated with discomfort", "not tolerated"]
Understanding = Literal["taught back", "states understanding", "needs more teaching", "unable to learn now"]
IdentifierUsed = Literal["name", "birth date", "record number", "phone number", "photograph", "address", "room number"]
"""Identifiers compared to identify the patient; a room number can be recorded but does not count."""

EvaluationDecision = Literal[
    "cleared for use",
    "cleared with limits",
    "remains on hold",
    "thrombolytic ordered",
    "line to be removed",
    "port replaced",
]
LineLimit = Literal["no vesicant", "no power injection", "blood return before each use"]
"""Uses that a cleared line is not released for, or only with proof each time."""

Evidence = Literal[
    "blood return restored",
    "chest radiograph",
    "contrast study",
    "ultrasound",
    "physical examination",
    "blood cultures",
]
Presence = Literal["none", "present"]
Skin = Literal["intact", "irritated", "broken", "thinned", "port visible"]
Drainage = Literal["none", "clear", "bloody", "purulent"]
PortFeel = Literal["stable", "tilted", "flipped", "not felt"]
DestinationName = Literal["home", "home with home-infusion service", "other facility", "hospice", "died"]

SignName = Literal[
    "fever",
    "chills",
    "shaking",
    "breathlessness",
    "chest pain",
    "shoulder pain",
    "pain",
    "burning",
    "swelling",
    "redness",
    "leak",
    "pus",
    "fluid collection",
    "catheter parted",
    "line found open",
    "crack felt or heard",
    "resistance changes with posture",
]
"""Signs seen, felt or reported that bear on the line, never a cause."""
Place = Literal[
    "port pocket",
    "arm",
    "face or neck",
    "collarbone",
    "chest wall",
    "along the catheter",
    "needle site",
    "connector",
]
During = Literal["infusion", "flush", "injection", "blood sampling", "access"]
Change = Literal["new", "growing", "unchanged", "less"]
Incision = Literal["healing", "healed", "opening"]
PunctureOutcome = Literal["blood return", "no blood return", "sluggish blood return", "port missed", "resistance"]
NeedleWings = Literal["level with the skin", "raised above the skin", "pressing into the skin"]
DiscardMethod = Literal["discarded", "returned", "mixed in the syringe"]
OldLock = Literal["aspirated and discarded", "flushed in", "could not be aspirated"]
"""The disposition of the lock that was in the line before this work."""
FoundAtLine = Literal[
    "clamp open", "connector off", "tubing parted", "needle partly out", "needle out", "infusion pump off"
]
TakenOff = Literal["disc", "adhesive", "latex"]
DislodgedExtent = Literal["partly out", "completely out"]
DislodgedAction = Literal["stopped", "clamped", "aspirated", "not pushed back", "new access planned"]
Compress = Literal["warm", "cold", "none"]
ArmHistory = Literal["lymphedema", "dialysis fistula", "surgery on that side", "none of these"]
"""Conditions on the port's side of the body that change the care of a port in the arm; "none", if asked, is a fact."""
PortSource = Literal["card", "radiograph", "operation report", "other facility"]
CoSigner = Literal["preceptor", "instructor", "second nurse"]

FORMER_WORDS: Final = {
    "methaemoglobinaemia": "methemoglobinemia",
    "round top": "smooth",
    "three palpation points": "raised marks on the rim",
}
"""Words as records of version 1 spell them: read for ever, written no more."""

IN_WORDS: Final = {"less": "decreasing", "taught back": "teach-back"}
"""How nurses say a word of the record, where they say it otherwise: for whatever is shown or printed."""
