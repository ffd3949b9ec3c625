"""A cluster of machines in the place of worker processes of this one, by way of Dask.

Workers are sent facts and give back parts of answers: they need the same version of this package, and no logbook.
Boilers go together in bundles, so that what a task costs the scheduler is little beside the work; a bundle whose
worker dies is done anew by another, and one that keeps killing workers is taken apart, to find the boiler that does so.
"""

from __future__ import annotations

import re
import time
from collections import deque
from collections.abc import Sequence
from threading import Lock
from typing import TYPE_CHECKING

from scalemodel import __version__
from scalemodel.answers.crew import AT_ONCE, CLOSED, LOST, TRIES, Tell
from scalemodel.answers.key import priors_mark
from scalemodel.answers.told import Failure
from scalemodel.answers.worker import END, parts_of
from scalemodel.errors import BadValueError, MissingPackageError, ScalemodelError

if TYPE_CHECKING:
    from distributed import Client, Future

BUNDLE = 16
TASK_SECONDS = 1.0
"""So many boilers go in one task at most, and about so much work [s]."""

AHEAD = 3
"""So many bundles a thread are on the way at once."""

LOOKED_FOR_EVERY, LONGEST_WITHOUT = 5.0, 600.0
"""So often it is asked whether there are workers, and so long they may all be gone [s]."""

PATIENCE = "15s"
"""So long the scheduler, and then the first worker, is waited for."""

ADDRESS = re.compile(r"[a-z]+://\S+:\d+")

Job = tuple[tuple, Tell]
Told = list[list[tuple[str, object]]]


def do_all(mark: tuple[str, str], jobs: Sequence[tuple]) -> tuple[Told, float]:
    """The parts of each of some jobs, on a worker, and how long they took [s]; failures if it has another program."""
    began = time.monotonic()
    if mark != own_mark():
        said = f"a worker of the cluster has scalemodel {own_mark()[0]}, or other priors; here it is {mark[0]}"
        return [[(END, Failure(said))] for _ in jobs], 0.0
    return [list(parts_of(*job)) for job in jobs], time.monotonic() - began


def own_mark() -> tuple[str, str]:
    """What must be the same here and there, that rows may be: the version, and the priors and constants of the law."""
    return __version__, priors_mark()


class Cluster:
    """A Dask cluster, by the address of its scheduler or a client of it; does what a `Crew` does."""

    far = True

    def __init__(self, scheduler: str | Client) -> None:
        self._client, self._own = connected(scheduler)
        self.threads = max(1, sum(self._client.nthreads().values()))
        self._held: list[Job] = []
        self._worked = self._done_jobs = 0.0
        self._lock = Lock()
        self._on_the_way: dict[str, Future] = {}
        self._suspects: deque[tuple[Job, int]] = deque()
        self._trying_one = False
        self._trouble = ""
        self._looked = self._last_there = time.monotonic()
        self._closed = False

    @property
    def most_at_once(self) -> int:
        """So many jobs on the way keep every thread at work."""
        return AHEAD * BUNDLE * self.threads

    def give(self, job: tuple, tell: Tell, urgency: int = AT_ONCE) -> None:
        """Have a job done; it may wait for others to go with it, until `flush`."""
        with self._lock:
            self._held.append((job, tell))
            bundle = self._held if len(self._held) >= self._size() else []
            if bundle:
                self._held = []
        if bundle:
            self._send(bundle, TRIES)

    def flush(self) -> None:
        """Send what is held back."""
        with self._lock:
            bundle, self._held = self._held, []
        if bundle:
            self._send(bundle, TRIES)

    def check(self) -> None:
        """ScalemodelError where no more can be answered: the scheduler is gone, or there were no workers for long."""
        if not self._trouble:
            self._look_for_workers()
        if self._trouble:
            raise ScalemodelError(
                f"the cluster gives no answers ({self._trouble})",
                "see that its scheduler runs and its workers have scalemodel; what was answered is kept",
            )

    def _look_for_workers(self) -> None:
        """Now and then, whether there is still a worker; new ones are waited for."""
        now = time.monotonic()
        if now < self._looked + LOOKED_FOR_EVERY:
            return
        self._looked = now
        try:
            there = bool(self._client.nthreads())
        except Exception as error:  # whatever a connection that is gone may raise
            self._trouble = "no scheduler: " + (str(error) or type(error).__name__)
            return
        self._last_there = now if there else self._last_there
        if now > self._last_there + LONGEST_WITHOUT:
            self._trouble = f"no worker for {LONGEST_WITHOUT / 60:.0f} minutes"

    def close(self) -> None:
        """Take back what has not been done, and leave the cluster to others."""
        with self._lock:
            self._closed = True
            futures, self._on_the_way = list(self._on_the_way.values()), {}
        if futures:
            self._client.cancel(futures)
        if self._own:
            self._client.close()

    def _size(self) -> int:
        """Boilers in the next bundle: one, until it is known how long they take."""
        each = self._worked / self._done_jobs if self._done_jobs else TASK_SECONDS
        return max(1, min(BUNDLE, int(TASK_SECONDS / max(each, 1e-6))))

    def _send(self, bundle: list[Job], tries: int, suspect: bool = False) -> None:
        future = self._client.submit(do_all, own_mark(), [job for job, _ in bundle], pure=False)
        with self._lock:
            self._on_the_way[future.key] = future
        future.add_done_callback(lambda done: self._done(done, bundle, tries, suspect))

    def _done(self, future: Future, bundle: list[Job], tries: int, suspect: bool) -> None:
        """Tell the parts of a bundle, or have it done again where workers died over it."""
        from distributed import KilledWorker

        with self._lock:
            self._on_the_way.pop(future.key, None)
            self._trying_one = self._trying_one and not suspect
            if self._closed:
                _fail(bundle, CLOSED)
                return
        try:
            found, seconds = future.result()
        except KilledWorker:
            self._suspect(bundle, tries - suspect)
        except Exception as error:  # cancelled: the scheduler forgot it, or is gone
            self._trouble = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
            _fail(bundle, Failure("the cluster gave no answer"))
        else:
            self._worked, self._done_jobs = self._worked + seconds, self._done_jobs + len(bundle)
            for (_, tell), parts in zip(bundle, found, strict=True):
                for name, part in parts:
                    tell(name, part)
        self._try_a_suspect()

    def _suspect(self, bundle: list[Job], tries: int) -> None:
        """Each by itself, and no two at once, lest one be blamed for another; then it cannot be answered."""
        if tries < 1:
            _fail(bundle, LOST)
            return
        with self._lock:
            self._suspects.extend((one, tries) for one in bundle)

    def _try_a_suspect(self) -> None:
        with self._lock:
            if self._trying_one or not self._suspects:
                return
            one, tries = self._suspects.popleft()
            self._trying_one = True
        self._send([one], tries, suspect=True)


def _fail(bundle: list[Job], why: Failure) -> None:
    for _, tell in bundle:
        tell(END, why)


def connected(scheduler: str | Client) -> tuple[Client, bool]:
    """A client of a scheduler with at least one worker, and whether it is to be closed; BadValueError if there is none.

    MissingPackageError where Dask is not installed.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise MissingPackageError("a cluster is reached by", "Dask", "fleet") from error
    if isinstance(scheduler, Client):
        return scheduler, False
    wanted = BadValueError("scheduler", scheduler, "the address of a Dask scheduler that runs, as tcp://192.0.2.7:8786")
    if not ADDRESS.fullmatch(scheduler):
        raise wanted
    try:
        client = Client(scheduler, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        raise wanted from error
    try:
        client.wait_for_workers(1, timeout=PATIENCE)
    except (OSError, TimeoutError) as error:
        client.close()
        raise BadValueError("scheduler", scheduler, "a scheduler with workers; it has none yet") from error
    return client, True
