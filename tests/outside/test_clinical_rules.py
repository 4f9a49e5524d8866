"""What the named documents say about ports, typed anew here, against what the rules and sums of this project say.

Each row names its source and how that source is known to us: R read in the issuer's own text, R2 quoted by a copy,
M-H and M-M from memory. Rows marked D are our own arithmetic on a rule that is named: derived, never called published.
Rows marked CP have no source at all.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any, NamedTuple

import pytest
from rule_cases import episode_of, judged, local_policy
from scenes import AT, CREAM, DAY, HIDDEN, LOCKED, NO_BLOOD, STILL_NONE, Event, Scene, access, after, event, fires

from lda_notes.check import rule_table
from lda_notes.knowledge.policy import DEFAULT
from lda_notes.knowledge.sources import MARK_WORDS, SOURCES


class Row(NamedTuple):
    """One statement of a document: what it says, and a record on each side of it.

    ``broken`` breaks the statement and must be found by ``rule``; ``kept`` keeps to it and must not.
    """

    source: str
    mark: str
    says: str
    rule: str
    broken: Scene
    kept: Scene


def dwell(kind: str | None, minutes: int, **dressing: Any) -> Scene:
    """A needle or dressing on for so many minutes."""
    worn = access(dressing={"type": kind, **dressing}) if kind else access()
    return Scene((worn, event("dressing change" if kind else "de-access", minutes)))


def one(**facts: Any) -> Scene:
    return Scene((access(**facts),))


def of(patient: dict[str, Any], **facts: Any) -> Scene:
    return Scene((access(**facts),), {"patient": patient})


def prep(**antisepsis: Any) -> Scene:
    return one(antisepsis=antisepsis)


def lock(patient: dict[str, Any] | None = None, port: dict[str, Any] | None = None, **contents: Any) -> Scene:
    parts = {"patient": patient or {}, "port": port or {}}
    return Scene((access(infusion=None, lock=contents),), parts)


def inject(port: dict[str, Any] | None = None, needle: dict[str, Any] | None = None, **use: Any) -> Scene:
    facts = {"purpose": "power injection", "what": "contrast medium", "flow_ml_per_s": 2, "pressure_psi": 250, **use}
    return Scene((access(needle=needle or {}), event("line use", 60, **facts)), {"port": {"power": port or {}}})


def treat(weight: Any, **facts: Any) -> Scene:
    return Scene((access(**NO_BLOOD), event("patency treatment", 60, **facts)), {"patient": {"weight_kg": weight}})


def cream(patient: dict[str, Any] | None = None, on: int = 65, off: int = 10, **facts: Any) -> Scene:
    used = {"agent": CREAM, "applied_at": after(-on - off), "removed_at": after(-off), **facts}
    return Scene((access(anesthetic=used),), {"patient": patient or {}})


def child(birth: str, kg: float) -> dict[str, Any]:
    return {"birth_date": birth, "weight_kg": kg}


def allergic(*allergens: str, **facts: Any) -> Scene:
    return of({"allergies": [{"to": allergen} for allergen in allergens]}, **facts)


def found(words: list[str], *later: Event) -> Scene:
    return Scene((access(), event("line check", 600, dressing_found=words), *later))


IODINE = {"antisepsis": {"agent": "povidone-iodine", "dry_s": 120}, "dressing": {"chlorhexidine_disc": "no"}}
NEWBORN = child("2031-03-20", 3)
BABY_1, BABY_2 = child("2031-01-15", 4.5), child("2030-10-15", 7)
CHILD_1, CHILD_2 = child("2027-01-15", 16), child("2022-01-15", 26)
HIT = {"history": ["heparin-induced thrombocytopenia"]}
SECOND = {"second_dose_of": "patency-treatment-1"}


def again(minutes: int, dose: float = 2) -> Scene:
    first, second = event("patency treatment", 60), event("patency treatment", 60 + minutes, **SECOND)
    return Scene((access(**NO_BLOOD), first, second | {"dose_mg": dose, "volume_ml": dose}))


def looks(*minutes: int, until: int) -> Scene:
    checks = [event("patency check", 60 + minute, **STILL_NONE) for minute in minutes]
    asof = AT + timedelta(minutes=60 + until)
    return Scene((access(**NO_BLOOD), event("patency treatment", 60), *checks), asof=asof)


def restored(weight: float, withdrawn: float) -> Scene:
    dose = event("patency treatment", 60, lumen_ml=1, dose_mg=1.1, volume_ml=1.1)
    events = (access(**NO_BLOOD), dose, event("patency check", 90, withdrawn_ml=withdrawn))
    return Scene(events, {"patient": {"weight_kg": weight}})


REMINDED = local_policy(accessed_idle_flush_hours=24)

PUBLISHED = [
    # Dressing
    Row("ahrq-ch42", "R", "a transparent dressing is changed at least every 7 days", "dressing-dwell",
        dwell("transparent", 8 * DAY), dwell("transparent", 7 * DAY)),
    Row("ahrq-ch42", "R", "a gauze dressing is changed at least every 2 days", "dressing-dwell",
        dwell("gauze", 2 * DAY + 1, **HIDDEN), dwell("gauze", 2 * DAY, **HIDDEN)),
    Row("ahrq-ch42", "R", "a damp dressing is changed now", "failed-dressing-left",
        found(["damp"]), found(["damp"], event("dressing change", 605))),
    Row("ahrq-ch42", "R", "a loosened dressing is changed now", "failed-dressing-left",
        found(["loose"]), found(["loose"], event("dressing change", 605))),
    Row("cdc-2017", "R", "a visibly soiled dressing is changed now", "failed-dressing-left",
        found(["soiled"]), found(["soiled"], event("de-access", 605))),
    Row("ins-2016", "M-H", "gauze under a transparent film that hides the site counts as gauze", "dressing-dwell",
        dwell("gauze under transparent", 2 * DAY + 1, **HIDDEN), dwell("gauze under transparent", 2 * DAY, **HIDDEN)),
    Row("ins-2021", "M-M", "gauze only under the wings with the site visible counts as transparent: 7 days",
        "dressing-dwell", dwell("gauze under wings", 8 * DAY), dwell("gauze under wings", 2 * DAY + 1)),
    Row("chg-dressing-ifu", "R2", "one maker's chlorhexidine dressing is not for patients under 2 months",
        "chlorhexidine-dressing-age", of(child("2031-02-03", 4)), of(child("2031-02-02", 4))),
    # Needle
    Row("royal-marsden", "R", "a non-coring needle stays in for at most 7 days", "needle-dwell",
        dwell(None, 8 * DAY), dwell(None, 7 * DAY)),
    Row("us-hospital-2008", "R2", "needle and dressing are changed together every 7 days", "needle-dwell",
        dwell(None, 8 * DAY), dwell(None, 7 * DAY)),
    Row("royal-marsden", "R", "non-coring needles are made in 19 to 24 gauge: 25 is not", "needle-gauge",
        one(needle={"gauge": 25}), one(needle={"gauge": 24})),
    Row("royal-marsden", "R", "non-coring needles are made in 19 to 24 gauge: 18 is not", "needle-gauge",
        one(needle={"gauge": 18}), one(needle={"gauge": 19})),
    Row("royal-marsden", "R", "non-coring needles are made from 0.65 cm", "needle-length",
        one(needle={"length_mm": 6.3}), one(needle={"length_mm": 6.35})),
    Row("us-hospital-2008", "R2", "the longest non-coring needle is one and a half inches", "needle-length",
        one(needle={"length_mm": 40}), one(needle={"length_mm": 38.1})),
    Row("power-ifu", "R2", "at most 5 mL per second through a 19 or 20 gauge needle", "power-injection-rate",
        inject(needle={"gauge": 19}, flow_ml_per_s=5.1), inject(needle={"gauge": 20}, flow_ml_per_s=5)),
    Row("power-ifu", "M-M", "commonly at most 2 mL per second through a 22 gauge needle", "power-injection-rate",
        inject(needle={"gauge": 22}, flow_ml_per_s=2.1), inject(needle={"gauge": 22}, flow_ml_per_s=2)),
    Row("power-ifu", "R2", "needle and port must be rated for power injection", "power-injection-unrated",
        inject(needle={"power_rated": "no"}), inject()),
    Row("power-ifu-pressure", "R2", "the injector's limit is 300 psi on one label", "power-injection-pressure",
        inject(port={"max_pressure_psi": None}, pressure_psi=301),
        inject(port={"max_pressure_psi": None}, pressure_psi=300)),
    Row("power-ifu-table", "R2", "the injector's limit is 325 psi on another label", "power-injection-pressure",
        inject(port={"max_pressure_psi": 325}, pressure_psi=326), inject(port={"max_pressure_psi": 325},
        pressure_psi=325)),
    Row("power-ifu-table", "R2", "blood return comes before a power injection", "power-injection-without-blood",
        inject(blood_return_before="none"), inject(blood_return_before="present")),
    Row("power-ifu-table", "R2", "10 mL of saline flow freely before a power injection", "power-injection-test-flush",
        Scene((access(flushes=[{"volume_ml": 9}]), inject().events[1])), inject()),
    Row("royal-marsden", "R", "a syringe of at least 10 mL for a patency check", "syringe-size",
        one(flushes=[{"syringe_ml": 5}]), one(flushes=[{"syringe_ml": 10}])),
    Row("ayrshire-arran-child", "R", "a rotated port is not accessed", "accessed-despite-site",
        one(site={"port": "flipped"}), one()),
    Row("ayrshire-arran-child", "R", "a port with suspected infection is not accessed", "accessed-despite-site",
        one(site={"drainage": "purulent"}), one()),
    Row("ayrshire-arran-child", "R", "a port with suspected erosion is not accessed", "accessed-despite-site",
        one(site={"skin": "port visible"}), one()),
    # Antisepsis
    Row("chg-swab-label", "R", "a dry site is scrubbed for 30 seconds", "scrub-time",
        prep(scrub_s=29), prep(scrub_s=30)),
    Row("chg-swab-label", "R", "a moist site is scrubbed for 2 minutes", "scrub-time",
        prep(skin="moist", scrub_s=119), prep(skin="moist", scrub_s=120)),
    Row("chg-swab-label", "R", "a dry site dries for 30 seconds", "antiseptic-dry-time",
        prep(dry_s=29), prep(dry_s=30)),
    Row("chg-swab-label", "R", "a moist site dries for 1 minute", "antiseptic-dry-time",
        prep(skin="moist", dry_s=59), prep(skin="moist", dry_s=60)),
    Row("nova-scotia", "R", "70% isopropyl alcohol is rubbed for 1 minute", "scrub-time",
        prep(agent="70% isopropyl alcohol", scrub_s=59), prep(agent="70% isopropyl alcohol", scrub_s=60)),
    Row("nova-scotia", "R", "70% isopropyl alcohol dries for 30 seconds", "antiseptic-dry-time",
        prep(agent="70% isopropyl alcohol", dry_s=29), prep(agent="70% isopropyl alcohol", dry_s=30)),
    Row("ins-2016", "M-H", "povidone-iodine dries for at least 2 minutes", "antiseptic-dry-time",
        prep(agent="povidone-iodine", dry_s=119), prep(agent="povidone-iodine", dry_s=120)),
    Row("ins-2021", "M-H", "chlorhexidine must be fully dry", "skin-not-dry",
        prep(fully_dry="no"), prep(fully_dry="yes")),
    Row("ins-2021", "M-H", "a connector is scrubbed for at least 5 seconds", "connector-scrub-time",
        one(hub_scrub_s=4), one(hub_scrub_s=5)),
    Row("msf-catalogue", "R", "chlorhexidine in alcohol is contraindicated in neonates; aqueous is used",
        "alcohol-on-newborn-skin", of(NEWBORN), of(NEWBORN, antisepsis={"agent": "aqueous chlorhexidine"})),
    Row("home-infusion", "R2", "no isopropyl alcohol in neonates", "alcohol-on-newborn-skin",
        of(NEWBORN, antisepsis={"agent": "70% isopropyl alcohol"}), of(NEWBORN, **IODINE)),
    Row("home-infusion", "R2", "chlorhexidine with caution under 1000 g", "chlorhexidine-small-newborn",
        of(child("2031-03-20", 0.999), antisepsis={"agent": "aqueous chlorhexidine"}),
        of(child("2031-03-20", 1), antisepsis={"agent": "aqueous chlorhexidine"})),
    Row("cdc-2011", "M-H", "no recommendation for chlorhexidine under 2 months", "chlorhexidine-under-age",
        of(child("2031-02-03", 4)), of(child("2031-02-02", 4))),
    # Anesthetic cream
    Row("cream-label", "R2", "the cream stays on for at least 1 hour", "cream-contact-short",
        cream(on=59), cream(on=60)),
    Row("cream-label", "R2", "an adult's dose is 2.5 g", "cream-adult-amount", cream(amount_g=3), cream(amount_g=2.5)),
    Row("cream-label", "R2", "an adult's dose covers 20 to 25 square cm", "cream-adult-amount",
        cream(area_cm2=26), cream(area_cm2=20)),
    Row("cream-label", "R2", "the effect lasts 1 to 2 hours after removal", "cream-worn-off",
        cream(off=121), cream(off=120)),
    Row("cream-label", "R2", "up to 3 months or under 5 kg: 1 g, 10 square cm, 1 hour", "cream-child-maximum",
        cream(BABY_1, on=61, amount_g=1, area_cm2=10), cream(BABY_1, on=60, amount_g=1, area_cm2=10)),
    Row("cream-label", "R2", "3 to 12 months and over 5 kg: 2 g, 20 square cm, 4 hours", "cream-child-maximum",
        cream(BABY_2, on=240, amount_g=2.1, area_cm2=20), cream(BABY_2, on=240, amount_g=2, area_cm2=20)),
    Row("cream-label", "R2", "1 to 6 years and over 10 kg: 10 g, 100 square cm, 4 hours", "cream-child-maximum",
        cream(CHILD_1, on=240, amount_g=10, area_cm2=101), cream(CHILD_1, on=240, amount_g=10, area_cm2=100)),
    Row("cream-label", "R2", "7 to 12 years and over 20 kg: 20 g, 200 square cm, 4 hours", "cream-child-maximum",
        cream(CHILD_2, on=241, amount_g=20, area_cm2=200), cream(CHILD_2, on=240, amount_g=20, area_cm2=200)),
    Row("cream-label", "R2", "contraindicated in methemoglobinemia", "prilocaine-methemoglobinemia",
        cream({"history": ["methemoglobinemia"]}), cream({"history": ["G6PD deficiency"]})),
    Row("cream-label", "R2", "caution in G6PD deficiency", "prilocaine-g6pd",
        cream({"history": ["G6PD deficiency"]}), cream()),
    Row("paediatric-em", "R2", "the cream is off before the antiseptic", "cream-after-antisepsis",
        cream(off=7), cream(off=9)),
    Row("lidocaine-4-label", "M-H", "lidocaine 4% cream acts in about 30 minutes", "cream-contact-short",
        cream(agent="lidocaine 4% cream", on=29), cream(agent="lidocaine 4% cream", on=30)),
    # Blood return and alteplase
    Row("ins-patency", "R2", "blood return looks like whole blood", "blood-not-like-whole-blood",
        one(blood_looks="thin"), one(blood_looks="like whole blood")),
    Row("ons", "R", "no vesicant without blood return", "vesicant-without-blood-return",
        Scene((access(), event("line use", 60, vesicant="yes", blood_return_before="none"))),
        Scene((access(), event("line use", 60, vesicant="yes", blood_return_before="present")))),
    Row("ayrshire-arran-adult", "R", "5 to 10 mL are discarded", "discard-too-small",
        one(discard_ml=4), one(discard_ml=5)),
    Row("ayrshire-arran-adult", "R", "5 to 10 mL are discarded", "discard-too-large",
        one(discard_ml=11), one(discard_ml=10)),
    Row("alteplase-dosing", "R", "from 30 kg 2 mg are given", "alteplase-dose",
        treat(30, dose_mg=1.5, volume_ml=1.5), treat(30, dose_mg=2, volume_ml=2)),
    Row("alteplase-dosing", "R", "from 30 kg 2 mg are in 2 mL", "alteplase-concentration",
        treat(30, dose_mg=2, volume_ml=2.2), treat(30, dose_mg=2, volume_ml=2)),
    Row("alteplase-smpc", "R", "printed example: a lumen of 1.0 mL takes 1.1 mg", "alteplase-dose",
        treat(25, lumen_ml=1, dose_mg=1, volume_ml=1), treat(25, lumen_ml=1, dose_mg=1.1, volume_ml=1.1)),
    Row("alteplase-smpc", "R", "a lumen of more than 2 mL may be filled by further dilution", "alteplase-concentration",
        treat(70, lumen_ml=2.5, dose_mg=2, volume_ml=2.6), treat(70, lumen_ml=2.5, dose_mg=2, volume_ml=2.5)),
    Row("alteplase-smpc", "R", "at most 2 mg", "alteplase-dose",
        treat(25, lumen_ml=2, dose_mg=2.2, volume_ml=2.2), treat(25, lumen_ml=2, dose_mg=2, volume_ml=2)),
    Row("alteplase-label", "R", "a second dose not before 120 minutes", "alteplase-second-dose-early",
        again(119), again(120)),
    Row("alteplase-label", "R", "two doses of 2 mg are the most that was studied", "alteplase-total",
        again(120, 2.1), again(120, 2)),
    Row("alteplase-label", "R", "used within 8 hours of mixing", "alteplase-kept-too-long",
        treat(70, reconstituted_at=after(60 - 481)), treat(70, reconstituted_at=after(60 - 480))),
    Row("alteplase-giving", "R", "the dwell is assessed at 30 minutes", "thrombolytic-check-missing",
        looks(until=31), looks(until=30)),
    Row("alteplase-giving", "R", "the dwell is assessed at 120 minutes", "thrombolytic-check-missing",
        looks(30, until=121), looks(30, until=120)),
    Row("alteplase-giving", "R", "4 to 5 mL are withdrawn after success from 10 kg", "alteplase-withdrawal",
        restored(10, 3), restored(10, 4)),
    Row("alteplase-giving", "R", "3 mL are withdrawn after success under 10 kg", "alteplase-withdrawal",
        restored(9, 4), restored(9, 3)),
    # Flush and lock
    Row("ins-2021", "M-H", "a flush is twice the volume of catheter and add-ons: 2.8 mL for 1.4 mL",
        "flush-below-minimum", one(flushes=[{"volume_ml": 2.7}]), one(flushes=[{"volume_ml": 2.8}])),
    Row("ins-2021", "M-H", "a lock is the volume of device and add-ons and a fifth: 1.68 mL for 1.4 mL",
        "lock-does-not-fill", lock(drug="0.9% sodium chloride", volume_ml=1.67),
        lock(drug="0.9% sodium chloride", volume_ml=1.68)),
    Row("ins-2021", "M-H", "20 mL after blood", "flush-below-usual",
        one(samples=["blood count"], flushes=[{"volume_ml": 10}]), one(samples=["blood count"],
        flushes=[{"volume_ml": 20}])),
    Row("ins-2021", "M-H", "at most 30 mL of bacteriostatic saline in 24 hours", "bacteriostatic-saline",
        one(flushes=[{"solution": "0.9% sodium chloride with benzyl alcohol", "volume_ml": 31}]),
        one(flushes=[{"solution": "0.9% sodium chloride with benzyl alcohol", "volume_ml": 30}])),
    Row("ins-2021", "M-H", "no bacteriostatic saline in neonates", "preservative-newborn",
        of(NEWBORN, flushes=[{"solution": "0.9% sodium chloride with benzyl alcohol"}]), of(NEWBORN)),
    Row("heparin-lock-approval", "R2", "heparin for locks is sold at 10 and 100 units per mL", "lock-strength",
        lock(drug="heparin", units_per_ml=20, volume_ml=5), lock(drug="heparin", units_per_ml=10, volume_ml=5)),
    Row("heparin-injection-label", "R", "heparin of treatment strength is no lock", "treatment-strength-heparin",
        lock(drug="heparin", units_per_ml=1000, volume_ml=5), lock(drug="heparin", units_per_ml=100, volume_ml=5)),
    Row("heparin-lock-label", "R2", "100 units per mL is not for neonates and infants", "strong-heparin-infant",
        lock(NEWBORN, drug="heparin", units_per_ml=100, volume_ml=3),
        lock(NEWBORN, drug="heparin", units_per_ml=10, volume_ml=3)),
    Row("royal-cornwall", "R2", "a lock of 4 to 6 mL at 100 units per mL: at most 600 units", "heparin-lock-units",
        lock(drug="heparin", units_per_ml=100, volume_ml=7), lock(drug="heparin", units_per_ml=100, volume_ml=6)),
    Row("ayrshire-arran-child", "R", "a child's lock is 3 mL at 100 units per mL: 300 units", "heparin-lock-units",
        lock(CHILD_1, drug="heparin", units_per_ml=100, volume_ml=5),
        lock(CHILD_1, drug="heparin", units_per_ml=100, volume_ml=3)),
    Row("heparin-lock-label", "M-H", "heparin is contraindicated after heparin-induced thrombocytopenia",
        "heparin-history", lock(HIT, drug="heparin", units_per_ml=10, volume_ml=3),
        lock(HIT, drug="0.9% sodium chloride", volume_ml=3)),
    Row("taurolidine-us", "R2", "a taurolidine lock with heparin is contraindicated there too", "heparin-history",
        lock(HIT, drug="taurolidine with citrate and heparin", units_per_ml=500, volume_ml=3),
        lock(HIT, drug="taurolidine with citrate", volume_ml=3)),
    Row("valved-port-ifu", "R2", "a valved catheter is locked with saline", "heparin-in-valved-catheter",
        lock(port={"valved": "yes"}, drug="heparin", units_per_ml=100, volume_ml=5),
        lock(port={"valved": "yes"}, drug="0.9% sodium chloride", volume_ml=5)),
    Row("polyurethane-page", "R2", "alcohol does not soak polyurethane", "ethanol-lock",
        lock(drug="70% ethanol", volume_ml=3), lock(drug="4% citrate", volume_ml=3)),
    Row("royal-marsden", "R", "an idle port is flushed every 4 weeks", "idle-flush",
        Scene((access(), event("de-access", 60), event("access", 60 + 29 * DAY))),
        Scene((access(), event("de-access", 60), event("access", 60 + 28 * DAY)))),
    Row("infusion-forum", "M-L", "an accessed port that rests is flushed at least every 24 hours by one policy",
        "accessed-idle-flush", Scene((access(**LOCKED), event("flush", DAY + 1)), policy=REMINDED),
        Scene((access(**LOCKED), event("flush", DAY)), policy=REMINDED)),
    # Allergies
    Row("fda-chg-2017", "R2", "no chlorhexidine on the skin of the allergic", "chlorhexidine-allergy",
        allergic("chlorhexidine", dressing={"chlorhexidine_disc": "no"}), allergic("chlorhexidine", **IODINE)),
    Row("fda-chg-1998", "R2", "no chlorhexidine dressing for the allergic", "chlorhexidine-allergy",
        allergic("chlorhexidine", antisepsis=IODINE["antisepsis"]), allergic("chlorhexidine", **IODINE)),
    Row("aaaai-iodine", "M-H", "shellfish and contrast reactions are no allergy to an iodine antiseptic",
        "iodine-allergy", allergic("iodine", **IODINE), allergic("shellfish", "contrast medium", **IODINE)),
    Row("latex-801-437", "M-H", "the label tells whether a device holds latex", "latex-allergy",
        allergic("latex", needle={"latex": "yes"}), allergic("latex", needle={"latex": "no"})),
    Row("cream-label", "R2", "no lidocaine or prilocaine for the allergic", "anesthetic-allergy",
        cream({"allergies": [{"to": "lidocaine"}]}), cream({"allergies": []})),
    Row("alteplase-label", "M-H", "known hypersensitivity to alteplase is a contraindication", "alteplase-allergy",
        Scene((access(**NO_BLOOD), event("patency treatment", 60)), {"patient": {"allergies": [{"to": "alteplase"}]}}),
        Scene((access(**NO_BLOOD), event("patency treatment", 60)), {"patient": {"allergies": [{"to": "latex"}]}})),
    Row("home-infusion", "R2", "the needle's due date is told to whoever takes over", "told-due-too-late",
        one(next_due={"needle_change": after(8 * DAY)}), one(next_due={"needle_change": after(7 * DAY)})),
]  # fmt: skip


def name_of(row: Row) -> str:
    return f"{row.source} [{row.mark}]: {row.says}"


@pytest.mark.parametrize("row", PUBLISHED, ids=name_of)
def test_what_the_document_says_is_what_the_rule_finds(row: Row) -> None:
    assert row.source in SOURCES and row.mark in MARK_WORDS and row.mark not in ("D", "CP", "LP")
    assert fires(row.rule, row.broken)
    assert not fires(row.rule, row.kept)


@pytest.mark.parametrize("row", PUBLISHED, ids=name_of)
def test_the_rule_names_that_document(row: Row) -> None:
    rule = rule_table.load()[row.rule]
    cited = {(citation.source, citation.mark) for citation in rule_table.citations(rule, DEFAULT)}
    assert (row.source, row.mark) in cited or row.mark == "D"


def test_the_rows_are_many_and_each_stands_once() -> None:
    said = [(row.source, row.says, row.rule) for row in PUBLISHED]
    assert len(said) == len(set(said)) >= 80


def test_no_finding_stands_in_the_way_of_another_document() -> None:
    """After an allergy to chlorhexidine, povidone-iodine is the answer of two documents (R)."""
    scene = allergic("chlorhexidine", **IODINE)
    found = {finding.rule for finding in judged(episode_of(*scene.events, **(scene.parts or {})))}
    assert found & {"chlorhexidine-allergy", "iodine-allergy", "scrub-time", "antiseptic-dry-time"} == set()
