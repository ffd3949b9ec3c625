"""A fleet asked, pooled, drawn and invented: what `scalemodel.api` offers of many boilers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence, Sized
from pathlib import Path
from typing import TYPE_CHECKING

from scalemodel.decision.question import Question
from scalemodel.logbook.days import Day, as_day, day_or

if TYPE_CHECKING:
    from distributed import Client

    from scalemodel.answers.assessment import Assessment
    from scalemodel.answers.rows import Due
    from scalemodel.fleet.pool import Pool
    from scalemodel.inference.posterior import Progress
    from scalemodel.logbook.records import BoilerFacts
    from scalemodel.logbook.store import Logbook
    from scalemodel.report.fleet_pages import FleetPages
    from scalemodel.validation.fleets import Simulated


def assess(
    asked: Iterable[BoilerFacts] | Logbook,
    as_of: Day | None = None,
    *,
    workers: int | None = None,
    scheduler: str | Client | None = None,
    folder: str | Path | None = None,
    next_look: bool = False,
    progress: Progress | None = None,
    **question,
) -> Assessment:
    """Until when each of many boilers can wait: rows as they come, or, by ``to_frame()``, all, soonest first.

    Parameters
    ----------
    asked : iterable of BoilerFacts, or Logbook
        It may be a generator: facts are read as they are needed, and only what is on the way is held. Of a logbook, all
        boilers that were installed by ``as_of``.
    as_of : date, Timestamp or text, optional
        The day of the question, where a logbook is asked; its today by default.
    workers : int, optional
        Processes that solve at once; as many as there are cores by default.
    scheduler : str or distributed.Client, optional
        A Dask cluster to solve in their place, by the address of its scheduler, such as tcp://192.0.2.7:8786.
    folder : path, optional
        Where answers are kept, under a hash of all that they follow from, so that what is broken off goes on.
    next_look : bool
        Whether the day of the next look that pays is found too, which takes longer.
    progress : callable, optional
        Told, now and then, the share in [0, 1] that is done, where ``asked`` has a length.
    question : optional
        The fields of `Question`, ``seed`` and ``particles``, as for `prepare`.

    Raises
    ------
    BadValueError
        If there is no such cluster. A boiler that cannot be answered is a row with its reason.
    """
    from scalemodel.answers.assessment import Assessment, Means, assessed
    from scalemodel.answers.rows import count_of, facts_of_all
    from scalemodel.answers.told import DATE_ALONE, WHOLE
    from scalemodel.logbook.store import Logbook

    drawn = {name: question.pop(name, None) for name in ("seed", "particles")}
    means = Means(workers, None if folder is None else Path(folder), scheduler)
    count = len(asked) if isinstance(asked, Sized) else None
    if isinstance(asked, Logbook):
        day = day_or(as_of, asked.today())
        asked, count = facts_of_all(asked, day), count_of(asked, day)
    watched = {} if progress is None else {"done": progress}
    parts = WHOLE if next_look else DATE_ALONE
    return Assessment(assessed(asked, Question(**question), means, drawn, parts, count, **watched))


def pool(
    asked: Iterable[BoilerFacts] | Logbook,
    as_of: Day | None = None,
    *,
    workers: int | None = None,
    scheduler: str | Client | None = None,
    seed: int | None = None,
    particles: int | None = None,
    progress: Progress | None = None,
) -> Pool:
    """What boilers teach of each other: a population, and by its ``beliefs()`` priors for the next boiler.

    Arguments as for `assess`; see `scalemodel.fleet.pool.pool` for the errors. Of a logbook, a boiler whose facts
    cannot be had is left out, with the reason.
    """
    from scalemodel.answers.assessment import Means
    from scalemodel.answers.rows import Due, facts_of_all
    from scalemodel.fleet.pool import pool as learned
    from scalemodel.inference.posterior import no_progress
    from scalemodel.logbook.store import Logbook

    refused = {}
    if isinstance(asked, Logbook):
        day = day_or(as_of, asked.today())
        told = list(facts_of_all(asked, day))
        refused = {one.boiler: one.reason for one in told if isinstance(one, Due)}
        asked = [one for one in told if not isinstance(one, Due)]
    else:
        asked = list(asked)
        day = as_day(as_of, "as of") if as_of is not None else max((one.as_of for one in asked), default=None)
    means = Means(workers, None, scheduler)
    return learned(asked, day, means, seed, particles, progress or no_progress, refused)


def fleet_pages(
    book: Logbook,
    rows: Sequence[Due],
    out: str | Path,
    as_of: Day | None = None,
    *,
    progress: Progress | None = None,
    **more,
) -> FleetPages:
    """Write the report of every boiler of a logbook into a folder, several at once, and the list of all.

    ``rows`` are those of `assess` with ``next_look``; ``more`` is what else it was given (workers, scheduler, folder,
    the question). A page that stands there as it would be drawn is left, where ``folder`` keeps answers. A boiler that
    has no page is in ``missing``, with why. BadValueError for a place that cannot be written in.
    """
    from scalemodel.answers.assessment import Means
    from scalemodel.report.fleet_pages import write_pages

    drawn = [more.pop(name, None) for name in ("seed", "particles")]
    workers, scheduler, folder = (more.pop(name, None) for name in ("workers", "scheduler", "folder"))
    means = Means(workers, None if folder is None else Path(folder), scheduler)
    day = day_or(as_of, book.today())
    watched = {} if progress is None else {"done": progress}
    with means.desk(Question(**more), *drawn) as desk:
        return write_pages(book, day, rows, desk, Path(out), means.here, **watched)


def simulate(boilers: int, seed: int | None = None, **more) -> Iterator[Simulated]:
    """An invented fleet from the priors, boiler by boiler: ``facts``, and the hidden ``truth`` that they follow from.

    ``more`` is ``looks`` (at each) and ``last_day``, as for `scalemodel.validation.fleets.simulate_fleet`; and
    ``priors`` to draw from, a file of your own or what `scalemodel.model.beliefs.read_priors` gives of one.
    """
    from scalemodel.model.beliefs import as_beliefs
    from scalemodel.validation.fleets import simulate_fleet

    more["beliefs"] = as_beliefs(more.pop("priors", ()))
    if "last_day" in more:
        more["last_day"] = as_day(more["last_day"], "last day")
    return simulate_fleet(boilers, seed, **more)
