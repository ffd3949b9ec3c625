"""A worker process: it takes boilers from its standard input, and gives their answers, part by part, on its output.

It is a program of its own, started anew, so that it neither runs its starter's main module again nor shares its
threads; it ends when its input does, thus with its starter however that ends.
"""

from __future__ import annotations

import os
import pickle
import sys

from scalemodel.answers.solving import solved

CODE = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from scalemodel.answers.worker import main; main()"
"""What starts one, with the folders to import from as its only argument."""


def main() -> None:
    """Answer until the input ends."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # nothing else may be written among the answers
    while True:
        try:
            job = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        for named in solved(*job):
            pickle.dump(named, answers)
            answers.flush()
