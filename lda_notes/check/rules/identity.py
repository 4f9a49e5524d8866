"""Which patient, which event, which septum."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from lda_notes.check.rule_table import Case, Entry, Found, Step, advice, unsafe, wrong
from lda_notes.knowledge.ages import years_old
from lda_notes.knowledge.policy import number
from lda_notes.knowledge.sources import COMMON_PRACTICE, Citation
from lda_notes.problems import Related
from lda_notes.record import events as ev

_GOAL: Final = Citation("npsg-01-01-01", "R2", "EP 1")


# -- which patient --


@unsafe("compare two identifiers, never the room, and record them", _GOAL, limits=("patient_identifiers",))
def too_few_patient_identifiers(case: Case) -> Iterable[Found]:
    """Counts the different identifiers that were compared; a room number does not count.

    Patients change rooms and share names. Comparing two identifiers is what keeps a procedure, a drug or a sample from
    going to the wrong patient.

    If only one was compared, say so truthfully and correct the practice.
    """
    least = case.policy.value("patient_identifiers")
    for entry in case.entries:
        event = entry.event
        checked = event.__dict__.get("identifiers_checked")  # a look by class would cost more
        if checked.__class__ is not tuple or not checked:
            continue
        counting = set(checked)
        counting.discard("room number")
        if len(counting) < least:
            room = "; a room number does not count" if "room number" in checked else ""
            yield Found(
                "identifiers_checked",
                f"identified by {', '.join(sorted(counting)) or 'no identifier of the person'}{room}; "
                f"the minimum is {case.policy.text('patient_identifiers')}",
                entry,
            )


@wrong("correct the birth date or the time of the event", COMMON_PRACTICE)
def birth_date_after_event(case: Case) -> Iterable[Found]:
    """Compares the birth date with the earliest event.

    Age limits cannot be checked for a patient who is not yet born; most often the century or a digit is mistyped.
    """
    born = case.timeline.episode.patient.birth_date
    entries = case.timeline.entries
    if born is not None and entries and case.local(entries[0].event.at).date() < born:
        says = f"the birth date {born} is later than the first event on {case.local(entries[0].event.at).date()}"
        yield Found("patient.birth_date", says, related=(Related(entries[0].path("at"), "the first event"),))


@advice("check the birth date", limits=("plausible_age_years",))
def implausible_age(case: Case) -> Iterable[Found]:
    """Computes the age at the first event and compares it with the ages that people reach.

    A mistyped year changes every check that depends on age.
    """
    born = case.timeline.episode.patient.birth_date
    if born is None or not case.timeline.entries:
        return
    years = years_old(born, case.local(case.timeline.entries[0].event.at).date())
    if years > case.policy.value("plausible_age_years"):
        says = f"the birth date makes an age of {years} years; the most is {case.policy.text('plausible_age_years')}"
        yield Found("patient.birth_date", says)


@advice(
    "check the weight and its unit",
    limits=("plausible_adult_kg", "plausible_weight_kg", "plausible_infant_kg", "adult_years"),
)
def implausible_weight(case: Case) -> Iterable[Found]:
    """Compares the weight with what people of that age weigh, within very wide bounds.

    A weight in pounds or with a misplaced decimal point multiplies or divides every dose.
    """
    patient = case.timeline.episode.patient
    if patient.weight_kg is None:
        return
    policy, weight = case.policy, patient.weight_kg
    years = None
    if patient.birth_date is not None and case.timeline.entries:
        years = years_old(patient.birth_date, case.local(case.timeline.entries[0].event.at).date())
    most = "plausible_infant_kg" if years == 0 else "plausible_weight_kg"
    if weight > policy.value(most):
        limit = f"the most is {policy.text(most)}"
    elif years is not None and years >= policy.value("adult_years") and weight < policy.value("plausible_adult_kg"):
        limit = f"the least for an adult is {policy.text('plausible_adult_kg')}"
    else:
        return
    age = "" if years is None else f" at an age of {years} {'year' if years == 1 else 'years'}"
    yield Found("patient.weight_kg", f"the weight is {number(weight)} kg{age}; {limit}")


@wrong("correct the identifiers", _GOAL)
def two_values_in_one_identifier_system(case: Case) -> Iterable[Found]:
    """Finds two different identifiers of the patient that come from the same system.

    One system gives a person one identifier; two of them may belong to two people.
    """
    identifiers = case.timeline.episode.patient.identifiers
    if len(identifiers) < 2:
        return
    seen: dict[str, str] = {}
    for position, identifier in enumerate(identifiers):
        if seen.setdefault(identifier.system, identifier.value) != identifier.value:
            says = "two different identifiers come from the same system; a patient has one there"
            yield Found(f"patient.identifiers.{position}.value", says)


# -- which event, which septum --


@wrong("give each event its own identifier", COMMON_PRACTICE)
def repeated_event_identifier(case: Case) -> Iterable[Found]:
    """Finds events that share an identifier.

    Corrections, treatments and needle changes refer to events by identifier; when two share one, the reference is
    ambiguous and may correct the wrong entry.

    Check what refers to it.
    """
    line = case.timeline
    if len({event.id for event in line.episode.events}) == len(line.episode.events):
        return
    own = (entry for entry in (*line.entries, *line.retracted, *line.corrections) if not entry.record)
    first: dict[str, Entry] = {}
    for entry in sorted(own, key=lambda one: one.index):
        before = first.setdefault(entry.event.id, entry)
        if before is not entry:
            related = (Related(before.path("id"), "the first event of that name"),)
            yield Found("id", f"the identifier {entry.event.id} is used twice", entry, related=related)


@wrong("use a name from the port's list of septa", COMMON_PRACTICE)
def unknown_septum(step: Step, event: ev.CareEvent, case: Case) -> Iterable[Found]:
    """Compares the septum named by an event with those of the port.

    An event on a septum that the port does not have is assigned to the first one, with its clocks and holds.

    If the name is right, add the septum to the port.
    """
    septa = case.timeline.episode.port.septa
    if event.septum is None or event.septum in septa:
        return ()
    known = " and ".join(f'"{name}"' for name in septa)
    message = f'septum "{event.septum}" is not one of the port\'s, which are {known}'
    return (Found("septum", message),)


@wrong("give each septum its own name", COMMON_PRACTICE)
def septa_share_a_name(case: Case) -> Iterable[Found]:
    """Compares the names of a port's two septa.

    Needle, clocks and hold are tracked for each septum by its name; two with the same name become one.
    """
    septa = case.timeline.episode.port.septa
    if len({name.casefold() for name in septa}) < len(septa):
        yield Found("port.septa", f'both septa are named "{septa[0]}"; each needs a name of its own')
