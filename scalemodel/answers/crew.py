"""Worker processes: as many jobs at once as there are workers, whoever cannot wait first."""

from __future__ import annotations

import json
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from itertools import count
from queue import PriorityQueue
from threading import Lock, Thread

from scalemodel.answers.told import Failure
from scalemodel.answers.worker import CODE, END

Tell = Callable[[str, object], None]
"""Is told each part of a job by its name, and behind the last `END`: None, or the failure that ended it."""

FIRST, AT_ONCE, IN_TIME = -1, 0, 1
"""How urgent a job is: none but the end of a member, somebody waits for it, or it is done ahead."""

TRIES = 2
"""So often is a job given to a worker that dies over it."""

LOST = Failure("the process that worked on it was stopped; ask again")
CLOSED = Failure("the program is ending")


AHEAD = 4
"""So many jobs a worker are on the way at once, so that none waits for its next."""


class Crew:
    """Workers that are started when there is work for them; `close` ends them."""

    far = False

    def __init__(self, workers: int) -> None:
        self.workers = max(1, workers)
        self.most_at_once = AHEAD * self.workers
        self._jobs: PriorityQueue = PriorityQueue()
        self._numbers = count()
        self._lock = Lock()
        self._members: list[Member] = []
        self._closed = False

    def give(self, job: tuple, tell: Tell, urgency: int = AT_ONCE) -> None:
        """Have a job done, a function of a module that yields named parts, and its arguments."""
        with self._lock:
            if self._closed:
                tell(END, CLOSED)
                return
            self._jobs.put((urgency, next(self._numbers), job, tell))
            idle = sum(1 for one in self._members if one.idle)
            if idle < self._jobs.qsize() and len(self._members) < self.workers:
                self._members.append(Member(self._jobs, self._numbers))

    def flush(self) -> None:
        """Every job has gone to the workers as soon as it was given."""

    def check(self) -> None:
        """A worker that dies is replaced: nothing keeps the others from going on."""

    def close(self) -> None:
        """End all workers at once; what they have not answered fails."""
        with self._lock:
            self._closed = True
            members, self._members = self._members, []
        for one in members:
            one.stop()
        while not self._jobs.empty():
            *_, job, tell = self._jobs.get()
            if job is not None:
                tell(END, CLOSED)


class Member:
    """One worker process, and the thread that hands it jobs and takes its answers."""

    def __init__(self, jobs: PriorityQueue, numbers: Iterator[int]) -> None:
        self.idle = True
        self._jobs, self._numbers, self._stopped, self._process = jobs, numbers, False, None
        self._thread = Thread(target=self._run, name="scalemodel worker", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Kill the process; the thread ends with it."""
        self._stopped = True
        if self._process is not None:
            self._process.kill()
        self._wake()
        self._thread.join(timeout=5)

    def _wake(self) -> None:
        """Have whichever member waits for a job look whether it is to stop."""
        self._jobs.put((FIRST, next(self._numbers), None, None))

    def _run(self) -> None:
        while not self._stopped:
            *_, job, tell = self._jobs.get()
            if job is None:
                if not self._stopped:  # it was meant for another member
                    self._wake()
                continue
            self.idle = False
            self._do(job, tell)
            self.idle = True
        self._end()

    def _do(self, job: tuple, tell: Tell) -> None:
        """Have the process answer a job; a new process where it has died."""
        for _ in range(TRIES):
            try:
                process = self._running()
                pickle.dump(job, process.stdin)
                process.stdin.flush()
                while True:
                    name, part = pickle.load(process.stdout)
                    tell(name, part)
                    if name == END:
                        return
            except (OSError, EOFError, pickle.UnpicklingError):
                self._end()
                if self._stopped:
                    break
        tell(END, CLOSED if self._stopped else LOST)

    def _running(self) -> subprocess.Popen:
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-c", CODE, json.dumps(sys.path)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # a key that stops the program at a terminal is for the program to see
            )
        return self._process

    def _end(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for stream in (self._process.stdin, self._process.stdout):
                with suppress(OSError):  # what was to be written has nobody to read it
                    stream.close()
            self._process = None
