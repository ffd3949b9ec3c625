"""The hash under which an answer is kept: of everything that it follows from."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from pathlib import Path

from scalemodel import __version__
from scalemodel.decision.question import Question
from scalemodel.logbook.records import BoilerFacts

PACKAGE = Path(__file__).parents[1]


def key_of(facts: BoilerFacts, question: Question, seed: int | None, particles: int | None) -> str:
    """The key of an answer; other facts, another question, seed, version or prior have another one."""
    parts = (__version__, program_mark(), priors_mark(), facts, question, seed, particles)
    return sha256("\n".join(map(repr, parts)).encode("utf-8", "surrogatepass")).hexdigest()


@cache
def program_mark() -> str:
    """A mark of the program's own files, which differs while it is worked on although its version does not."""
    seen = [(path.relative_to(PACKAGE).as_posix(), path.stat()) for path in sorted(PACKAGE.rglob("*.py"))]
    return sha256(repr([(name, held.st_size, held.st_mtime_ns) for name, held in seen]).encode()).hexdigest()


@cache
def priors_mark() -> str:
    """A mark of every prior and constant of the law, as the package's one file has them."""
    return sha256((PACKAGE / "model" / "priors.py").read_bytes()).hexdigest()
