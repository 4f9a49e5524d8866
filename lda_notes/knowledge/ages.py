"""Ages in whole days and whole calendar months: what age limits are compared with."""

from __future__ import annotations

from datetime import date

MONTHS_PER_YEAR = 12


def days_old(birth: date, on: date) -> int:
    """Return the age in days; 0 on the day of birth, negative before it."""
    return on.toordinal() - birth.toordinal()


def months_old(birth: date, on: date) -> int:
    """Return the age in whole months: one more on each day of the month that is not before the day of birth.

    Who is born on the 31st turns a month older on the next 31st, or on the first day after a shorter month.
    """
    return (on.year - birth.year) * MONTHS_PER_YEAR + on.month - birth.month - (on.day < birth.day)


def years_old(birth: date, on: date) -> int:
    """Return the age in whole years."""
    return months_old(birth, on) // MONTHS_PER_YEAR
