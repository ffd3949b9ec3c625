"""A worker process: it takes jobs from its standard input, and gives their parts on its output, each when it is ready.

It is a program of its own, started anew, so that it neither runs its starter's main module again nor shares its
threads; it ends when its input does, thus with its starter however that ends.
"""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Callable, Iterator

from scalemodel.answers.told import Failure
from scalemodel.errors import ScalemodelError

CODE = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from scalemodel.answers.worker import main; main()"
"""What starts one, with the folders to import from as its only argument."""

Solve = Callable[..., Iterator[tuple[str, object]]]
"""What yields the parts of a job by their names, as soon as each is known."""

END = ""
"""The name behind the last part: of None, or of the failure that ended the job."""


def main() -> None:
    """Do jobs, each a function of a module and its arguments, until the input ends."""
    told = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # nothing else may be written among the parts
    while True:
        try:
            solve, *given = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        for named in parts_of(solve, *given):
            pickle.dump(named, told)
            told.flush()


def parts_of(solve: Solve, *given: object) -> Iterator[tuple[str, object]]:
    """The parts of a job, then its end; what fails is told, so that one boiler does not stop the others."""
    try:
        yield from solve(*given)
    except ScalemodelError as error:
        yield END, Failure(str(error), lasting=True)
    except Exception as error:  # a fault of the program
        yield END, Failure(f"it could not be reckoned ({type(error).__name__}: {error})")
    else:
        yield END, None
