"""How much is drawn: the mean daily rate, the months that differ from it, and the days on which nothing is drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import numpy as np

from scalemodel.logbook.records import Absence, Use

DAYS_OF_USE = 365
"""The mean daily rate is that of so many days before the last day with a record of use."""

USE_LOG_SD_FLOOR = 0.15
"""However steady past use was, the future may differ by this much (log-sd)."""

USE_LOG_SD_STATED = 0.2
"""Log-sd of a rate that the owner states instead of recording."""

USE_LOG_SD_UNKNOWN = 0.4
"""Log-sd of one stretch's rate where fewer than three stretches tell."""

SEASON_DAYS = 730
"""Months are told apart only where so many days are on record, absences among them, in stretches of at most
`SEASON_STRETCH_DAYS`; a longer stretch tells nothing of its months."""

SEASON_STRETCH_DAYS = 62

SEASON_CELL_DAYS = 10
"""A month of which fewer days are on record is not counted."""

SEASON_LEAST = 0.05
"""A month in which nothing was drawn counts as this share of the mean."""

MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
MONTHS = len(MONTH_NAMES)


@dataclass(frozen=True)
class UsePlan:
    """The mean rate that fills unrecorded time past and to come.

    Attributes
    ----------
    litres_per_day : float [L/day]
        Over a year, absences left out.
    log_sd : float
        Of that rate.
    source : str
        Where it came from.
    season : tuple of 12 floats or None
        Each month's rate over the mean rate, January first; None where every month is taken as the mean.
    absences : tuple of Absence
        Days on which nothing is drawn, past or ahead.
    """

    litres_per_day: float
    log_sd: float
    source: str
    season: tuple[float, ...] | None = None
    absences: tuple[Absence, ...] = ()

    @property
    def steady(self) -> bool:
        """Whether every day is like any other."""
        return self.season is None and not self.absences

    def weights(self, first: int, count: int) -> np.ndarray:
        """Each day's use over the mean rate (count,), from the day of ordinal ``first`` on; 0 on days of absence."""
        return day_weights(first, count, self.season, self.absences)


def with_last_days(uses: tuple[Use, ...]) -> list[Use]:
    """Stretches of use in order, each that was written with its last day reaching to the next one's first.

    Dates are moments, so a month written as 1 to 31 May and followed by 1 June lacks the last day of May. Where exactly
    one day lies between a stretch of several days and the next, it belongs to the first of them.

    >>> may = Use("k", date(2026, 5, 1), date(2026, 5, 31), 31.0)
    >>> june = Use("k", date(2026, 6, 1), date(2026, 6, 30), 30.0)
    >>> [u.end.isoformat() for u in with_last_days((may, june))]
    ['2026-06-01', '2026-06-30']
    """
    ordered = sorted(uses, key=lambda u: u.from_date)
    for k, (one, following) in enumerate(pairwise(ordered)):
        if one.to_date > one.from_date and (following.from_date - one.to_date).days == 1:
            ordered[k] = replace(one, to_date=following.from_date)
    return ordered


def day_weights(
    first: int, count: int, season: tuple[float, ...] | None = None, absences: tuple[Absence, ...] = ()
) -> np.ndarray:
    """Each day's use over the mean rate (count,), from the day of ordinal ``first`` on.

    >>> away = Absence("k", date(2026, 2, 1), date(2027, 1, 1))
    >>> day_weights(date(2026, 1, 30).toordinal(), 4, (2.0, *[0.5] * 11), (away,))
    array([2., 2., 0., 0.])
    """
    weights = np.ones(count) if season is None else np.array(season)[months_of(first, count) % MONTHS]
    for absence in absences:
        low, high = absence.from_date.toordinal() - first, absence.to_date.toordinal() - first
        weights[max(0, low) : max(0, high)] = 0.0
    return weights


def months_of(first: int, count: int) -> np.ndarray:
    """Months since January 1970 of ``count`` days from the day of ordinal ``first`` on (count,)."""
    days = np.datetime64(date.fromordinal(first)) + np.arange(count)
    return days.astype("datetime64[M]").astype(int)


def use_plan(
    uses: tuple[Use, ...], litres_per_day: float | None = None, absences: tuple[Absence, ...] = ()
) -> UsePlan | None:
    """The rate of the last year recorded, with its uncertainty; ``litres_per_day`` overrides rate and season.

    Days of absence inside a record are left out, and the months are set level by their season. The log-sd is
    ``sqrt(0.15^2 + s^2 / n)`` with ``s^2 = ln(1 + c^2)`` and c the day-weighted coefficient of variation of the rates
    of the last year's n stretches, idle ones too (s is 0.4 where fewer than three tell); 0.2 for a stated rate. After a
    year of absence the whole record counts.
    ``None`` where nothing is known.
    """
    if litres_per_day is not None:
        return UsePlan(litres_per_day, USE_LOG_SD_STATED, "as you said", None, absences)
    stretches = with_last_days(uses)
    if not stretches:
        return None
    season = find_season(stretches, absences)
    begins = np.array([u.from_date.toordinal() for u in stretches])
    ends = np.array([u.end.toordinal() for u in stretches])
    # Use over the mean rate up to any day: a stretch's share of it is a difference of two of these.
    running = np.concatenate([[0.0], day_weights(begins[0], ends.max() - begins[0], season, absences).cumsum()])
    # Of each stretch what lies in the last year counts; one that ended before it begins on its end, and has no days.
    starts = np.clip(ends.max() - DAYS_OF_USE, begins, ends)
    # In mean days: `whole` is what a stretch is worth, `worth` what its part within the last year is. A week of absence
    # is worth nothing, a week in a busy month more than seven.
    days, whole = ends - starts, running[ends - begins[0]] - running[begins - begins[0]]
    worth = running[ends - begins[0]] - running[starts - begins[0]]
    untold = whole <= 0.0  # use recorded on days of absence: the record stands
    worth, whole = np.where(untold, days, worth), np.where(untold, ends - begins, whole)
    if not worth.any():  # absent for all of the last year: the whole record tells
        days, worth = ends - begins, whole
    # A stretch's litres are shared out evenly over its mean days, and those of the last year are kept.
    litres = np.array([u.litres_drawn for u in stretches]) * worth / whole
    told = worth > 0
    spread, count, mean = USE_LOG_SD_UNKNOWN, max(1, int(told.sum())), litres.sum() / worth.sum()
    if count >= 3 and mean > 0.0:
        # Each stretch's rate over the mean rate, less 1: the mean square by worth is c^2, and s that of a log-normal.
        off = litres[told] / worth[told] / mean - 1.0
        spread = float(np.sqrt(np.log1p(np.average(off * off, weights=worth[told]))))
    log_sd = float(np.hypot(USE_LOG_SD_FLOOR, spread / np.sqrt(count)))
    source = f"mean of the last {int(days.sum())} days on record"
    return UsePlan(float(mean), log_sd, source, season, absences)


def find_season(uses: list[Use], absences: tuple[Absence, ...] = ()) -> tuple[float, ...] | None:
    """Each calendar month's rate over the mean rate, shrunken towards 1; None where too little tells, or all is alike.

    The log rate of every month on record is split into a level of its year (counted back from the last day) and an
    effect of its calendar month, by least squares weighted by days. With v the variance of what is left of a day and
    n_m the days of month m, an effect is multiplied by ``t / (t + v / n_m)``, where t, the variance between months, is
    what the effects spread beyond v / n_m (moments; never below 0). The factors average 1 over a year's days.
    """
    telling = [u for u in uses if (u.end - u.from_date).days <= SEASON_STRETCH_DAYS]
    if not telling:
        return None
    first = min(u.from_date for u in telling).toordinal()
    count = max(u.end for u in telling).toordinal() - first
    present = day_weights(first, count, None, absences)
    litres, on_record = np.zeros(count), np.zeros(count)
    for use in telling:
        days = slice(use.from_date.toordinal() - first, use.end.toordinal() - first)
        share = present[days] if present[days].any() else np.ones_like(present[days])
        litres[days] += use.litres_drawn * share / share.sum()
        on_record[days] = share
    if np.count_nonzero((on_record > 0.0) | (present == 0.0)) < SEASON_DAYS:
        return None
    month, year = months_of(first, count) % MONTHS, (count - 1 - np.arange(count)) // DAYS_OF_USE
    cell = month + MONTHS * year
    days = np.bincount(cell, on_record)
    drawn = np.bincount(cell, litres)
    told = np.flatnonzero(days >= SEASON_CELL_DAYS)
    days, drawn = days[told], drawn[told]
    least = SEASON_LEAST * drawn.sum() / days.sum()
    if least <= 0.0:
        return None
    effects = month_effects(np.log(np.maximum(drawn / days, least)), told % MONTHS, told // MONTHS, days)
    factors = np.exp(effects)
    lengths = np.array([31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0])
    return tuple((factors * lengths.sum() / (factors @ lengths)).tolist()) if effects.any() else None


def month_effects(log_rate: np.ndarray, month: np.ndarray, year: np.ndarray, days: np.ndarray) -> np.ndarray:
    """Shrunken effect of each calendar month on the log rate (12,), 0 for a month that nothing tells of.

    ``log_rate`` [ln L/day], ``month`` 0 to 11, ``year`` and ``days`` are each (cells,); see `find_season`.
    """
    years, months = np.unique(year), np.unique(month)
    design = np.concatenate([year[:, None] == years, month[:, None] == months], axis=1).astype(float)
    root = np.sqrt(days)[:, None]
    solved = np.linalg.lstsq(design * root, log_rate * root[:, 0], rcond=None)[0]
    left = log_rate - design @ solved
    effects, size = np.zeros(MONTHS), np.bincount(month, days, MONTHS)[months]
    raw = solved[len(years) :] - np.average(solved[len(years) :], weights=size)
    freedom = len(log_rate) - len(years) - len(months) + 1
    if freedom <= 0:
        return effects
    noise = float(days @ left**2) / freedom / size
    between = max(0.0, float(np.average(raw**2 - noise, weights=size)))
    if between > 1e-12:
        effects[months] = raw * between / (between + noise)
    return effects
