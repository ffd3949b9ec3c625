"""The public functions, the same that the command line calls."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from scalemodel.decision.question import Question
from scalemodel.fleet.adopt import adopt as adopt
from scalemodel.fleet.assess import assess as assess
from scalemodel.fleet.assess import fleet_pages as fleet_pages
from scalemodel.fleet.assess import pool as pool
from scalemodel.fleet.assess import simulate as simulate
from scalemodel.logbook.days import Day, as_day, day_or

if TYPE_CHECKING:
    from collections.abc import Iterable

    from scalemodel.answers.rows import DueRows
    from scalemodel.decision.case import Case
    from scalemodel.decision.cost import Cost
    from scalemodel.decision.deferral import Deferral
    from scalemodel.decision.inspection_value import NextInspection
    from scalemodel.decision.risk import Risk
    from scalemodel.decision.trial import Trial
    from scalemodel.decision.water_plan import WaterPlans
    from scalemodel.descaling.procedure import DescalePlan
    from scalemodel.inference.posterior import Posterior, Progress
    from scalemodel.logbook.belief import Belief
    from scalemodel.logbook.belief import Priors as Held
    from scalemodel.logbook.records import BoilerFacts
    from scalemodel.logbook.series import Series
    from scalemodel.logbook.store import Logbook
    from scalemodel.report.calendar import Calendar
    from scalemodel.validation.hindsight import Hindsight
    from scalemodel.validation.hindsight_fleet import FleetHindsight

    Priors = str | Path | Held | Iterable[Belief]


def open_logbook(path: str | Path, write: bool = False, priors: Priors | None = None) -> Logbook:
    """Open a logbook, for reading unless ``write``; a context manager.

    ``priors``, as `with_priors` has them, are what the facts of every boiler then carry; without them those that the
    logbook adopted, else the house's.

    Raises
    ------
    LogbookError
        If the file is missing, is no logbook, or is of a newer version.
    """
    from scalemodel.logbook.store import Logbook
    from scalemodel.model.beliefs import as_priors

    told = None if priors is None else as_priors(priors)
    book = Logbook.open(path, write=write)
    book.priors = told
    return book


def with_priors(facts: BoilerFacts, priors: Priors) -> BoilerFacts:
    """The facts with priors of your own in place of those that they carry.

    ``priors`` are a TOML file, or what `scalemodel.model.beliefs.read_priors` gives of one, or beliefs; "house", or
    none at all, are the house's. Every answer that follows from these facts uses them, and says so among its
    assumptions.

    Raises
    ------
    BadValueError, UnknownNameError
        If the file cannot be read, or tells an unknown that there is none of, or an impossible value.
    """
    from dataclasses import replace

    from scalemodel.model.beliefs import as_priors

    return replace(_plain(facts), beliefs=as_priors(priors).of(facts.boiler.boiler), adoptions=())


def _believing(facts: BoilerFacts, priors: Priors | None) -> BoilerFacts:
    """The facts with these priors, or with their own for None; TypeError for what is no facts."""
    return _plain(facts) if priors is None else with_priors(facts, priors)


def posterior(
    facts: BoilerFacts, seed: int | None = None, particles: int | None = None, priors: Priors | None = None, **stated
) -> Posterior:
    """Draw the posterior of one boiler; arguments and errors as for `scalemodel.inference.posterior.solve`.

    ``priors`` as for `with_priors`; without them those that the facts carry.
    """
    from scalemodel.inference.posterior import solve

    return solve(_believing(facts, priors), seed, particles, **stated)


def prepare(
    facts: BoilerFacts,
    seed: int | None = None,
    particles: int | None = None,
    progress: Progress | None = None,
    priors: Priors | None = None,
    **stated,
) -> Case:
    """Check a question whole, then draw the posterior and lay the question on it.

    Every function below takes the case in place of the facts, so that several questions cost one posterior.

    Parameters
    ----------
    facts : BoilerFacts
        From `Logbook.facts`.
    seed, particles : int, optional
        Seed, and particles in each of the four populations; without a number of them, as many draws are made as the
        date needs (see `scalemodel.decision.precision`).
    progress : callable, optional
        Told, now and then, the share in [0, 1] of the solve that is done.
    priors : path or beliefs, optional
        As for `with_priors`; without them those that the facts carry.
    stated : optional
        The fields of `Question`.

    Raises
    ------
    ScalemodelError
        A kind of it, for whatever is wrong; before any sampling where that can be seen.
    """
    from scalemodel.decision import asking

    facts = _believing(facts, priors)
    return asking.prepare(facts, Question(**stated), seed, particles, progress)


def _case(about: BoilerFacts | Case, question: dict) -> Case:
    """The case itself, or the facts and a question made one; TypeError for a case and a question, or for neither."""
    from scalemodel.decision.case import Case

    if not isinstance(about, Case):
        return prepare(about, **question)
    if question:
        raise TypeError(f"a case holds its question already; {', '.join(question)} cannot be changed")
    return about


def risk(about: BoilerFacts | Case, dates: Sequence[Day] | Day, **question) -> Risk:
    """Probability that scale has passed the threshold by each date, or by one; keywords as for `prepare`."""
    from scalemodel.decision.risk import risk_on

    asked = [dates] if isinstance(dates, Day) else dates
    return risk_on(_case(about, question), [as_day(day) for day in asked])


def defer(about: BoilerFacts | Case, **question) -> Deferral:
    """How long the descale can safely be deferred, and the cheapest day within that; keywords as for `prepare`."""
    from scalemodel.decision.deferral import defer_until

    return defer_until(_case(about, question))


def due(
    book: Logbook,
    as_of: Day | None = None,
    within: int | None = None,
    *,
    workers: int | None = None,
    folder: str | Path | None = None,
    progress: Progress | None = None,
    **drawn,
) -> DueRows:
    """What is due: a row for every boiler installed by ``as_of``, alarms on top, then the soonest.

    A list of `Due`, whose ``to_frame()`` is the table.

    Parameters
    ----------
    book : Logbook
    as_of : date, Timestamp or text, optional
        The day of the question; the logbook's today by default.
    within : int, optional
        Only what is due within so many days [days], and what no answer is known of.
    workers : int, optional
        Processes that solve at once; as many as there are cores by default.
    folder : path, optional
        Where answers are kept from one time to the next; without one they are forgotten.
    progress : callable, optional
        Told, now and then, the share in [0, 1] of the boilers that is done.
    drawn : optional
        ``seed`` and ``particles``, as for `prepare`.

    Raises
    ------
    BadValueError
        For days that are no whole number from 0 on. A boiler that cannot be answered is a row with its reason.
    """
    from scalemodel.answers import rows
    from scalemodel.answers.assessment import Means

    rows.check_days(within)
    day = day_or(as_of, book.today())
    means = Means(workers, None if folder is None else Path(folder))
    watched = {} if progress is None else {"done": progress}
    with means.desk(Question(), **drawn) as desk:
        found = rows.due(book, day, desk, here=means.here, **watched)
    return rows.DueRows(rows.within(found, within))


def hindsight(
    facts: BoilerFacts,
    seed: int | None = None,
    particles: int | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
    priors: Priors | None = None,
) -> Hindsight:
    """Every look foretold from what was known on the day before it, and what was seen.

    Parameters
    ----------
    facts : BoilerFacts
    seed, particles : int, optional
        Of each solve, of which there is one a look.
    jobs : int
        Processes that solve at once.
    progress : callable, optional
        Told, now and then, the share in [0, 1] of the looks that is done.
    priors : path or beliefs, optional
        As for `prepare`.
    """
    from scalemodel.validation import hindsight as room

    return room.hindsight(_believing(facts, priors), seed, particles, jobs, progress)


def fleet_hindsight(
    fleet: Sequence[BoilerFacts],
    seed: int | None = None,
    particles: int | None = None,
    jobs: int = 1,
    progress: Progress | None = None,
) -> FleetHindsight:
    """The same of several boilers, and of their looks together by water, inspector and kind of look."""
    from scalemodel.validation import hindsight_fleet as room

    return room.fleet_hindsight(fleet, seed, particles, jobs, progress)


def next_inspection(
    about: BoilerFacts | Case, look_site: str | None = None, look_method: str | None = None, **question
) -> NextInspection:
    """Which look to make next, why, and what to do on each grade; other keywords as for `prepare`.

    ``look_site`` and ``look_method`` ask about one look besides; UnknownNameError where there is no such.
    """
    from scalemodel.decision.inspection_value import check_look, value_looks

    check_look(_facts(about), look_site, look_method)
    return value_looks(_case(about, question), look_site, look_method)


def cost(about: BoilerFacts | Case, **question) -> Cost:
    """What descaling at a fixed age costs in the long run, and the best age; keywords as for `prepare`.

    WantedError where no price of a descale is on record.
    """
    from scalemodel.decision.cost import descaling_cost

    return descaling_cost(_case(about, question))


def compare_waters(
    about: BoilerFacts | Case, waters: Sequence[str] = (), mixes: Sequence[str] = (), **question
) -> WaterPlans:
    """Waters of the logbook, and mixes such as "tap:0.4,demin:0.6", side by side with the present water at equal risk.

    Other keywords as for `prepare`. Where no fill is on record the first of ``waters`` counts as the present one.
    """
    from scalemodel.decision.water_plan import compare_waters, supplies_for

    supplies = supplies_for(_facts(about), waters, mixes)
    return compare_waters(_case(about, _present(about, waters, question)), supplies)


def trial(about: BoilerFacts | Case, water: str, days: int, **question) -> Trial:
    """What ``days`` on another water (or a mix, with a colon) would risk and teach; other keywords as for `prepare`.

    Where no fill is on record that water counts as the present one.
    """
    from scalemodel.decision.trial import check_days, plan_trial
    from scalemodel.decision.water_plan import supplies_for

    facts = _facts(about)
    check_days(days)
    single = ":" not in water or water in (w.water for w in facts.waters)
    named = ((water,), ()) if single else ((), (water,))
    (supply,) = supplies_for(facts, *named)
    return plan_trial(_case(about, _present(about, named[0], question)), supply, days)


def _facts(about: BoilerFacts | Case) -> BoilerFacts:
    """The facts of a case, or the facts themselves; TypeError for anything else."""
    from scalemodel.decision.case import Case

    return about.facts if isinstance(about, Case) else _plain(about)


def _plain(facts: BoilerFacts) -> BoilerFacts:
    """The facts; TypeError for anything else, before anything is drawn."""
    from scalemodel.logbook.records import BoilerFacts

    if not isinstance(facts, BoilerFacts):
        raise TypeError(f"the facts of a boiler come first, from Logbook.facts, not {type(facts).__name__}")
    return facts


def _present(about: BoilerFacts | Case, waters: Sequence[str], question: dict) -> dict:
    """The question with the first of the waters as the present one, where no fill is on record and none is stated."""
    if waters and question.get("water") is None and about is _facts(about) and not about.fills:
        return question | {"water": waters[0]}
    return question


def descale_plan(
    about: BoilerFacts | Case,
    acid: str | None = None,
    strength_percent: float | None = None,
    filled_by: str | None = None,
    fill_l: float | None = None,
    **question,
) -> DescalePlan:
    """How to descale a boiler, for its scale as on ``as_of``.

    ``acid`` is a key of `scalemodel.descaling.acid.ACIDS`, ``strength_percent`` the solution's strength [% w/v],
    ``filled_by`` "pump" or "hand", ``fill_l`` the litres that a bath fills [L]; other keywords as for `prepare`.
    UnknownNameError or BadValueError for others than there are, before any sampling.
    """
    from scalemodel.descaling.procedure import check_wishes, plan_descale

    wishes = check_wishes(_facts(about), acid, strength_percent, filled_by, fill_l)
    return plan_descale(_case(about, question).forecast, wishes)


def report_page(about: BoilerFacts | Case, photographs: Sequence[Series] = (), **question) -> str:
    """The report of one boiler as a page of HTML that needs nothing else; other keywords as for `prepare`.

    ``photographs`` are those of each site, from `scalemodel.logbook.series.photograph_series`.
    """
    from scalemodel.report import page
    from scalemodel.report.contents import report_contents

    return page.report_page(report_contents(_case(about, question)), photographs=photographs)


def calendar(
    book: Logbook,
    boilers: Sequence[str] = (),
    as_of: Day | None = None,
    earlier: bytes = b"",
    *,
    workers: int | None = None,
    folder: str | Path | None = None,
    progress: Progress | None = None,
    **question,
) -> Calendar:
    """By when to descale each boiler, and its next look, as a calendar file (iCalendar, RFC 5545).

    Parameters
    ----------
    book : Logbook
    boilers : sequence of str
        Which; all by default, and then events of boilers that are gone are cancelled too.
    as_of : date, Timestamp or text, optional
        The day of the question; the logbook's today by default.
    earlier : bytes
        The file that was written before: what says the same stays, what moved is moved, what is gone is cancelled.
    workers, folder, progress
        As for `due`, with which it shares its answers.
    question : optional
        The fields of `Question`, ``seed`` and ``particles``, as for `prepare`.

    Raises
    ------
    BadValueError
        If ``earlier`` is no calendar of this program.
    EvidenceError, UnknownNameError
        If a boiler that was named, or every one, cannot be answered; if there is none of that name.
    """
    from scalemodel.answers.assessment import Means
    from scalemodel.report.calendar import ask_events, read_earlier, write_calendar

    read_earlier(earlier)  # before any sampling
    day = day_or(as_of, book.today())
    means = Means(workers, None if folder is None else Path(folder))
    watched = {} if progress is None else {"done": progress}
    drawn = {name: question.pop(name, None) for name in ("seed", "particles")}
    with means.desk(Question(**question), **drawn) as desk:
        asked = ask_events(book, boilers, day, desk, here=means.here, **watched)
    return write_calendar(asked, earlier)
