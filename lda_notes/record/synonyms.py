"""The words that nurses type for those of the vocabulary: read where a choice is typed, never written to a record.

One row for each word of a choice. A word in several rows, or within another word of the same choice, is asked back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

SAID: Final[Mapping[str, tuple[str, ...]]] = {
    # allergies, and what the record has of them
    "adhesive": ("tape", "adhesives"),
    "isopropyl alcohol": ("ipa", "alcohol", "alcohol wipe", "alcohol wipes"),
    "contrast medium": ("dye", "iv contrast", "iodinated contrast", "contrast dye"),
    "allergies": ("allergy",),
    "weight": ("wt", "kg"),
    "caregiver": ("carer", "care giver"),
    "heparin-induced thrombocytopenia": ("hit", "hitt"),
    "methemoglobinemia": ("methgb", "methb", "met-hb"),
    "premature birth": ("preemie", "preterm", "prematurity"),
    # where
    "inpatient": ("inpt", "ward", "floor", "icu"),
    "outpatient": ("outpt", "clinic", "infusion center"),
    "emergency": ("ed", "er"),
    "procedure area": ("ir", "or", "procedure"),
    "right": ("rt",),
    "left": ("lt",),
    "collarbone": ("clavicle",),
    "port pocket": ("pocket",),
    "connector": ("hub", "cap"),
    "home with home-infusion service": ("home infusion", "home health", "home care"),
    "other facility": ("snf", "ltac", "rehab", "nursing home", "transfer", "hospital"),
    "died": ("deceased", "expired"),
    # whose port it is
    "birth date": ("dob", "date of birth", "birthday"),
    "record number": ("mrn", "medical record number"),
    # skin preparation and numbing
    "chlorhexidine": ("chg", "chlorhex"),
    "chlorhexidine in alcohol": ("chg in alcohol", "chg alcohol", "chg/alcohol", "chg/ipa", "chlorhexidine alcohol"),
    "aqueous chlorhexidine": ("aqueous chg", "chg aqueous"),
    "povidone-iodine": ("povidone", "pvp", "pvp-i", "pvi", "povidone iodine"),
    "70% isopropyl alcohol": ("ipa", "isopropyl"),
    "vapocoolant spray": ("spray", "cold spray", "freeze spray"),
    "intradermal lidocaine 1%": ("id lidocaine", "lidocaine injection", "injected lidocaine"),
    "none used": ("none", "nothing", "no"),
    # the dressing
    "transparent": ("film", "clear film", "transparent film", "clear dressing"),
    "gauze": ("2x2", "4x4", "gauze pad"),
    "intact": ("cdi", "c/d/i", "clean dry intact", "clean, dry, intact", "ok", "wnl", "normal", "clean"),
    "damp": ("wet", "moist"),
    "soiled": ("dirty", "bloody", "stained"),
    "loose": ("peeling", "lifting", "coming off"),
    "missing": ("off", "gone"),
    # blood return
    "present": ("positive", "pos", "+"),
    "sluggish": ("slow", "weak", "poor", "sluggish return"),
    "none": ("absent", "negative", "neg", "nil", "no blood", "no return", "no blood return", "denies", "not present"),
    "thin": ("watery", "dilute"),
    "clotted": ("clots", "clot"),
    # flush and lock
    "0.9% sodium chloride": ("ns", "nss", "saline", "normal saline", "saline lock"),
    "0.9% sodium chloride with benzyl alcohol": ("bacteriostatic", "bacteriostatic saline", "bacteriostatic ns"),
    "5% dextrose": ("d5w", "d5", "dextrose"),
    "push-pause": ("push pause", "push/pause", "pushpause", "pulsatile", "pulsed", "stop-start", "start-stop"),
    "steady": ("continuous", "constant", "straight"),
    "cannot flush": ("unable", "unable to flush", "cannot", "can't flush", "occluded", "will not flush"),
    "some": ("mild", "slight", "some resistance", "resistance", "sluggish"),
    "heparin": ("hep", "heplock", "hep lock", "heparin lock"),
    "70% ethanol": ("etoh", "ethanol", "alcohol", "alcohol lock"),
    "an infusion runs, no lock": ("infusing", "running", "fluids", "fluids running", "ivf", "iv fluids"),
    "discarded": ("wasted", "waste"),
    "returned": ("reinfused", "given back"),
    "aspirated and discarded": ("wasted", "waste"),
    # use of the line
    "infusion": ("fluids", "ivf", "iv fluids", "hydration", "tpn", "chemo", "chemotherapy", "abx", "antibiotic",
                 "antibiotics"),
    "medication": ("meds", "med", "drug", "iv push", "ivp", "push", "chemo", "chemotherapy", "abx", "antibiotic",
                   "antibiotics"),
    "blood sampling": ("labs", "lab draw", "blood draw", "draw", "bloods", "sample", "samples", "blood"),
    "transfusion": ("prbc", "prbcs", "rbc", "rbcs", "platelets", "plts", "ffp", "transfuse", "blood"),
    "power injection": ("ct", "contrast", "ct contrast"),
    "removal of lock": ("unlock", "lock removed", "remove lock"),
    "started": ("start", "hung", "begun", "running"),
    "stopped": ("stop", "done", "complete", "completed", "disconnected", "finished"),
    "given": ("gave", "administered", "pushed"),
    "nothing but the flush": ("nothing", "flush", "flush only", "just the flush", "none"),
    # when it gives no blood
    "checked clamp and needle seat": ("clamps", "clamp", "seat"),
    "repositioned patient": ("reposition", "turned", "arms up"),
    "cough or deep breath": ("coughed", "deep breathing", "valsalva"),
    "gentle push-pause flush": ("flushed", "push pause", "gentle flush"),
    "needle re-seated": ("reseated", "reseat"),
    "needle replaced": ("reaccessed", "re-accessed", "new needle"),
    "alteplase": ("tpa", "t-pa", "rtpa"),
    "thrombolytic ordered": ("tpa", "alteplase", "alteplase ordered"),
    "cleared for use": ("ok to use", "okay to use", "use it"),
    "line to be removed": ("remove", "removal", "explant"),
    "chest radiograph": ("cxr", "x-ray", "xray", "chest x-ray", "chest xray"),
    "contrast study": ("dye study", "port study", "dye"),
    "ultrasound": ("us", "sono", "doppler", "duplex"),
    "physical examination": ("exam", "pe", "assessment"),
    "blood cultures": ("cultures", "bcx", "bc"),
    # what was seen and felt
    "irritated": ("red", "rash", "excoriated", "itchy"),
    "broken": ("open", "skin tear", "tear"),
    "clear": ("serous",),
    "bloody": ("sanguineous", "serosanguineous", "blood"),
    "purulent": ("pus",),
    "stable": ("ok", "wnl", "normal"),
    "not felt": ("not palpable", "nonpalpable", "cannot feel"),
    "breathlessness": ("sob", "dyspnea", "short of breath", "shortness of breath"),
    "shaking": ("rigors", "rigor"),
    "fever": ("febrile", "temp"),
    "redness": ("red", "erythema"),
    "swelling": ("swollen", "edema"),
    "tender": ("tenderness", "sore"),
    "leak": ("leaking", "leakage"),
    "stopped with pressure": ("controlled", "held pressure"),
    "continuing": ("oozing", "still bleeding"),
    # the patient
    "tolerated well": ("ok", "okay", "well", "fine", "good", "wnl", "tol well"),
    "tolerated with discomfort": ("some discomfort", "uncomfortable"),
    "not tolerated": ("poorly", "badly", "did not tolerate"),
    "less": ("decreasing", "decreased", "smaller", "improving"),
    "taught back": ("teach-back", "teach back", "teachback", "tb"),
    "states understanding": ("verbalized", "verbalized understanding", "verbalizes understanding", "vu", "voiced",
                             "understands", "stated"),
    "needs more teaching": ("reinforce", "needs reinforcement", "reteach"),
    "unable to learn now": ("unable", "not able", "sedated"),
    # people and what is left
    "second nurse": ("rn", "second rn", "2nd rn", "2nd nurse"),
    "preceptor": ("precept",),
    "partly out": ("partial", "partially", "partially out"),
    "completely out": ("fully out", "all the way out", "all out"),
    "needle partly out": ("dislodged",),
    "connector off": ("disconnected", "cap off"),
}  # fmt: skip
"""The words that nurses type, by the word of a choice that they mean."""

BESIDE: Final[Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "sluggish": {"present": ("brisk", "good", "ok", "yes", "blood return", "good blood return")},
}
"""Words typed for another only where both are offered: "good" does not answer whether there is pain."""

KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "access": ("accessed", "needle in", "accessing"),
    "arrival": ("arrived", "arrival accessed", "admit", "admission"),
    "deaccess": ("de-access", "deaccessed", "de-accessed", "needle out", "decannulate"),
    "dressing": ("dressing change", "drsg", "drsg change"),
    "check": ("line check", "assess", "assessment", "site check"),
    "flush": ("flushed", "heparin", "hep"),
    "use": ("line use", "draw", "labs", "lab draw", "blood draw", "infusion", "med", "meds", "medication"),
    "treatment": ("tpa", "alteplase", "thrombolytic", "patency treatment"),
    "patency": ("patency check", "tpa check"),
    "discharge": ("d/c", "dc", "discharged"),
    "transfer": ("transferred", "move", "moved"),
    "removed": ("explant", "explanted", "port out"),
    "implanted": ("implant", "port in"),
    "dislodged": ("needle dislodged", "fell out"),
    "patient": ("allergy", "allergies", "weight", "wt", "room", "patient facts"),
    "port": ("tip", "port facts"),
    "visit": ("monthly flush", "clinic visit"),
}
"""The words that nurses type for a kind of entry."""


def meanings(said: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """Return what each word may mean, in small letters."""
    found: dict[str, tuple[str, ...]] = {}
    for word, typed in said.items():
        for one in typed:
            found[one] = (*found.get(one, ()), word)
    return found


MEANS_KIND: Final = meanings(KINDS)
_MEANS: Final = meanings(SAID)
_BESIDE: Final = {word: meanings(said) for word, said in BESIDE.items()}


def means(typed: str, offered: Iterable[str]) -> tuple[str, ...]:
    """Return the words that ``typed`` may mean where the words ``offered`` may be chosen."""
    there = frozenset(offered)
    beside = (said.get(typed, ()) for word, said in _BESIDE.items() if word in there)
    return (*_MEANS.get(typed, ()), *(word for words in beside for word in words))
