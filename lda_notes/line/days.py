"""Days of a central line for surveillance: day number, eligibility, the window after, the denominator by unit.

The rules are those of the NHSN patient safety manual, chapters 2 and 4, as far as they are known to us; where the
text is uncertain or editions differ, an option of the policy decides (`OPTIONS`). Days are calendar days of the
stay's own time zone, never hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Final, Literal, NamedTuple

from lda_notes.knowledge.policy import Policy
from lda_notes.line.day_count import DAY, LineDay, Stay, StayDays, extent
from lda_notes.line.timeline import Timeline

COUNTED: Final = frozenset(
    {"at", "kind", "of", "inserted_at", "unit", "to_unit", "setting", "to_setting", "admitted_at", "implanted_on"}
)
"""Facts that counts of days rest on."""

OPTIONS: Final = (
    "denominator_counts",
    "denominator_time",
    "flush_counts_as_access",
    "procedural_access_counts",
    "arrival_in_use_counts",
    "arrival_unused_counts",
)
"""The options of the policy that these counts follow."""

LIMITS: Final = (
    "line_day_eligible",
    "window_days_after_removal",
    "infection_window_days_before",
    "infection_window_days_after",
    "repeat_infection_days",
    "hospital_onset_day",
    "transfer_days",
    "rate_per_line_days",
)
"""The limits of the policy that these counts follow."""

_MOST_DAYS: Final = 366 * 20


class UnitCount(NamedTuple):
    """Counts of one unit over the days asked for. ``ratio`` and ``rate`` are None when they are undefined."""

    unit: str
    line_days: int
    counted_patient_days: int
    patient_days: int | None = None
    infections: int | None = None
    ratio: Decimal | None = None
    rate: Decimal | None = None


class Infection(NamedTuple):
    """Windows and attribution that follow from the date of a first positive blood specimen, by surveillance rules."""

    event: date
    window_opens: date
    window_closes: date
    repeat_closes: date
    hospital_day: int | None
    onset: Literal["present on admission", "hospital onset", "outside the stay"]
    line_associated: bool
    attributed_unit: str | None


def stays(timelines: Sequence[Timeline]) -> tuple[Stay, ...]:
    """Group timelines into stays: same patient (an identifier in common), overlapping time in the same facility."""
    groups: list[list[Timeline]] = []
    by_identifier: dict[tuple[str, str, str], list[int]] = {}
    for timeline in timelines:
        facility = timeline.episode.stay.facility
        keys = [(facility, i.system, i.value) for i in timeline.episode.patient.identifiers]
        near = dict.fromkeys(group for key in keys for group in by_identifier.get(key, ()))
        home = next((g for g in near if any(_overlap(timeline, other) for other in groups[g])), None)
        if home is None:
            home = len(groups)
            groups.append([])
        groups[home].append(timeline)
        for key in keys:
            by_identifier.setdefault(key, []).append(home)
    return tuple(Stay(tuple(group)) for group in groups)


def _overlap(one: Timeline, other: Timeline) -> bool:
    first, second = extent(one), extent(other)
    return first[0] <= second[1] and second[0] <= first[1]


def days(stay: Stay, policy: Policy, first: date, last: date) -> tuple[LineDay, ...]:
    """Return each calendar day of ``stay`` from ``first`` to ``last``, both included, and the days of the window after.

    Days before the stay began are left out, and so are those after the window that follows discharge. Nothing after
    the moment judged from is counted. Raises ValueError when ``last`` is before ``first`` or decades after the stay
    began.
    """
    if last < first:
        raise ValueError("the last day is before the first")
    count = StayDays(stay, policy)
    asof = max(line.local(line.timeline.asof) for line in count.lines)
    if (min(last, asof) - min(line.began for line in count.lines)).days > _MOST_DAYS:
        raise ValueError("a stay of more than 20 years is a slip of the pen")
    ends = [line.ends for line in count.lines]
    gone = max((end for end in ends if end is not None), default=asof) if None not in ends else asof
    after = DAY * int(policy.value("window_days_after_removal"))
    return tuple(
        day
        for day in count.days(first, min(last, asof, gone + after))  # no day after that can be counted
        if day.hospital_day is not None or day.in_window or count.housed(day.day)
    )


def patient_days(found: Sequence[tuple[Stay, tuple[LineDay, ...]]]) -> tuple[dict[str, int], dict[str, int]]:
    """Return line days and patient days by unit: one per patient and day, however many lines or records there are."""
    lines: dict[str, set[tuple[date, object]]] = {}
    patients: dict[str, set[tuple[date, object]]] = {}
    for stay, counted in found:
        key = stay.patient
        for day in counted:
            if day.unit is not None and day.patient_day:
                patients.setdefault(day.unit, set()).add((day.day, key))
                lines.setdefault(day.unit, set())
                if day.device_day:
                    lines[day.unit].add((day.day, key))
    return {unit: len(seen) for unit, seen in lines.items()}, {unit: len(seen) for unit, seen in patients.items()}


def unit_count(
    unit: str,
    line_days: int,
    counted: int,
    policy: Policy,
    patient_days: int | None,
    infections: int | None,
    *,
    whole: bool,
) -> UnitCount:
    """Return the counts of one unit with its utilization ratio and rate, where they are defined.

    Of ports alone, not the ``whole`` of the unit's central lines, neither is.
    """
    ratio = utilization(line_days, patient_days) if whole and patient_days is not None else None
    per_1000 = rate(infections, line_days, policy) if whole and infections is not None else None
    return UnitCount(unit, line_days, counted, patient_days, infections, ratio, per_1000)


def utilization(line_days: int, patient_days: int) -> Decimal | None:
    """Return line days per patient day, to three places; None without patient days."""
    return _rounded(Decimal(line_days) / patient_days, "0.001") if patient_days else None


def rate(infections: int, line_days: int, policy: Policy) -> Decimal | None:
    """Return infections per 1000 line days (or what the policy says), to two places; None without line days."""
    if not line_days:
        return None
    return _rounded(infections * policy.value("rate_per_line_days") / line_days, "0.01")


def _rounded(value: Decimal, step: str) -> Decimal:
    return value.quantize(Decimal(step), ROUND_HALF_UP)


def infection(stay: Stay, policy: Policy, positive: date) -> Infection:
    """Return what a first positive blood specimen of ``positive`` implies for a stay.

    The date of event is the day of the specimen (laboratory-confirmed infection, criterion 1): other criteria, and
    infections that are secondary to another site, are for people to judge.
    """
    found = days(stay, policy, positive, positive)
    day = found[0] if found else None
    hospital_day = day.hospital_day if day else None
    onset: Literal["present on admission", "hospital onset", "outside the stay"] = "outside the stay"
    if hospital_day is not None:
        late = hospital_day >= policy.value("hospital_onset_day")
        onset = "hospital onset" if late else "present on admission"
    elif day is not None and day.in_window:
        onset = "hospital onset"
    return Infection(
        positive,
        positive - DAY * int(policy.value("infection_window_days_before")),
        positive + DAY * int(policy.value("infection_window_days_after")),
        positive + DAY * (int(policy.value("repeat_infection_days")) - 1),
        hospital_day,
        onset,
        day is not None and day.in_window and onset == "hospital onset",
        day.attributed_unit if day else None,
    )


def unclear(stay: Stay) -> tuple[str, ...]:
    """Return what the count had to take for granted, in plain words."""
    units = dict.fromkeys(u.unit for t in stay.timelines for u in t.units if u.setting is None)
    return tuple(f"the setting of {unit} is not recorded; it is counted as an inpatient unit" for unit in units)


def as_rows(stay: Stay, counted: Sequence[LineDay]) -> list[dict[str, object]]:
    """Return days as surveillance lists have them, for JSON or CSV: the patient's first identifier, and no name."""
    patient = stay.timelines[0].episode.patient.identifiers[0].value
    records = [timeline.episode.id for timeline in stay.timelines]
    return [
        {
            "patient": patient,
            "records": records,
            "date": day.day.isoformat(),
            "hospital_day": day.hospital_day,
            "line_in": day.line_in,
            "line_day": day.line_day,
            "eligible": day.eligible,
            "in_window": day.in_window,
            "unit": day.unit,
            "attributed_unit": day.attributed_unit,
            "device_day": day.device_day,
            "patient_day": day.patient_day,
        }
        for day in counted
    ]
