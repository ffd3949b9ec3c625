"""Speed of many boilers, beside the bare arithmetic of one; nothing here is a test.

Prints (1) milliseconds a boiler of the bare arithmetic, one after the other in this process, on an invented fleet with
10 looks each, and what 10,000 boilers would take on two cores by it; (2) the same of `fleet assess` with a process a
core, and with a Dask cluster of as many; (3) milliseconds a boiler of all that is not arithmetic (facts read, hashed,
sent, answers kept, rows), for fleets of rising size, in which nothing is solved; (4) what a task costs on Dask when it
has nothing to do; (5) from these, what 1,000 cores would take. With --stream so many boilers pass through one process,
none of them solved, and its memory is printed as they do; nothing else is done.

    python -m benchmarks.fleet [--boilers 200] [--sizes 100 1000 10000] [--particles N] [--stream 100000]
"""

import argparse
import os
import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from scalemodel import assess
from scalemodel.answers import desk as desks
from scalemodel.answers.cluster import BUNDLE, do_all, own_mark
from scalemodel.answers.solving import solved
from scalemodel.answers.told import DATE_ALONE
from scalemodel.cli.main import LINEAR_ALGEBRA_THREADS
from scalemodel.decision.question import Question
from scalemodel.logbook.records import BoilerFacts
from scalemodel.logbook.store import Logbook
from scalemodel.validation.fleets import simulate_fleet
from tests.answers.fleets import at_once, named

AIM_BOILERS, AIM_SECONDS, AIM_CORES = 10_000, 240.0, 2
MANY_CORES = 1000


def bare(fleet: list[BoilerFacts], particles: int | None) -> float:
    """Seconds of a core's work a boiler, of the arithmetic alone, whatever else the machine does."""
    list(solved(fleet[0], Question(), None, particles, DATE_ALONE))  # what is loaded once
    began = time.process_time()
    for facts in fleet:
        list(solved(facts, Question(), None, particles, DATE_ALONE))
    return (time.process_time() - began) / len(fleet)


def whole(fleet: list[BoilerFacts], **means) -> float:
    """Seconds a boiler of an assessment."""
    began = time.perf_counter()
    rows = assess(fleet, **means).rows()
    assert not any(row.reason for row in rows), next(row.reason for row in rows if row.reason)
    return (time.perf_counter() - began) / len(fleet)


def beside(sizes: list[int], few: list[BoilerFacts], scheduler: str) -> float:
    """Print what everything but the arithmetic costs in fleets of rising size; seconds a boiler on the largest."""
    cost = 0.0
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "fleet.sqlite3"
            filled(path, few, size)
            real, desks.solved = desks.solved, at_once
            try:
                began = time.perf_counter()
                with Logbook.open(path) as book:
                    rows = assess(book, few[0].as_of, scheduler=scheduler, folder=Path(folder) / "kept").rows()
                cost = (time.perf_counter() - began) / size
            finally:
                desks.solved = real
        assert len(rows) == size
        print(f"all but the arithmetic, {size:6d} boilers of a logbook: {1000 * cost:6.2f} ms a boiler", flush=True)
    return cost


def filled(path: Path, few: list[BoilerFacts], size: int) -> None:
    """A logbook of so many boilers, those of a small fleet again and again."""
    with Logbook.create(path, today=lambda: few[0].as_of) as book, book.transaction():
        waters = {record for facts in few for record in (*facts.waters, *facts.water_tests)}
        for record in sorted(waters, key=lambda one: (type(one).__name__ != "Water", repr(one))):
            book.add(record, sure=True)
        for k in range(size):
            facts = named(few[k % len(few)], f"b{k:06d}")
            for record in (facts.boiler, *facts.sites, *facts.fills, *facts.uses, *facts.inspections, *facts.descales):
                book.add(record, again=True, sure=True)


def task_cost(client, few: list[BoilerFacts], tasks: int = 500) -> float:
    """Seconds that a bundle costs on Dask when its jobs have nothing to do."""
    jobs = [(at_once, facts) for facts in (few * BUNDLE)[:BUNDLE]]
    began = time.perf_counter()
    futures = [client.submit(do_all, own_mark(), jobs, pure=False) for _ in range(tasks)]
    client.gather(futures)
    return (time.perf_counter() - began) / tasks


def stream(count: int) -> None:
    """Let boilers pass through this process, unsolved, and print its memory as they do."""
    few, desks.solved, began = [one.facts for one in simulate_fleet(20, 1)], at_once, time.perf_counter()
    fleet = (named(few[k % len(few)], f"b{k:06d}") for k in range(count))
    for passed, _ in enumerate(assess(fleet, workers=1), 1):
        if passed in (1000, count // 10, count // 2, count):
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(f"{passed:7d} boilers: {time.perf_counter() - began:5.1f} s, {peak:.0f} MB at most", flush=True)


def said(what: str, seconds: float, arithmetic: float, cores: int) -> None:
    """A line: seconds a boiler, and the share of the cores' time that is not arithmetic."""
    lost = 1.0 - arithmetic / (seconds * cores)
    print(
        f"{what:44} {1000 * seconds:8.1f} ms a boiler, {lost:6.1%} of {cores} cores not at the arithmetic", flush=True
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--boilers", type=int, default=200)
    parser.add_argument("--sizes", type=int, nargs="*", default=[100, 1000, 10_000])
    parser.add_argument("--particles", type=int)
    parser.add_argument("--stream", type=int)
    given = parser.parse_args()
    if given.stream:
        stream(given.stream)
        return
    if not any(name in os.environ for name in LINEAR_ALGEBRA_THREADS):  # as the command line has it, in workers too
        threads = dict.fromkeys(LINEAR_ALGEBRA_THREADS, "1")
        os.execve(sys.executable, [sys.executable, "-m", "benchmarks.fleet", *sys.argv[1:]], os.environ | threads)
    from distributed import Client, LocalCluster

    cores = os.cpu_count() or 1
    fleet = [one.facts for one in simulate_fleet(given.boilers, 1)]
    one = bare(fleet, given.particles)
    total = one * AIM_BOILERS / AIM_CORES
    print(
        f"the arithmetic alone, {len(fleet)} boilers: {1000 * one:.1f} ms a boiler; "
        f"{AIM_BOILERS} on {AIM_CORES} cores: {total:.0f} s (aim: {AIM_SECONDS:.0f} s)",
        flush=True,
    )
    drawn = {"particles": given.particles}
    said(f"fleet assess, {cores} processes", whole(fleet, workers=cores, **drawn), one, cores)
    made = {"n_workers": cores, "threads_per_worker": 1, "dashboard_address": ":0", "silence_logs": 50}
    with LocalCluster(**made) as cluster, Client(cluster) as client:
        said(f"fleet assess, Dask, {cores} workers", whole(fleet, scheduler=client, **drawn), one, cores)
        few = fleet[:20]
        task = task_cost(client, [replace(facts) for facts in few])
        share = task / (task + BUNDLE * one)
        print(f"a Dask task with nothing to do: {1000 * task:.2f} ms, {share:.2%} of {BUNDLE} boilers' arithmetic")
        client_side = beside(given.sizes, few, client)
    project(one, client_side, task)


def project(one: float, client_side: float, task: float) -> None:
    """What many cores would take: whichever of the workers, the asking process and the scheduler is the slowest."""
    for count in (10_000, 100_000):
        parts = {
            f"{MANY_CORES} cores at the arithmetic": one * count / MANY_CORES,
            "the process that asks": client_side * count,
            "the scheduler": task * count / BUNDLE,
        }
        slowest = max(parts, key=parts.get)
        told = ", ".join(f"{name} {seconds:.0f} s" for name, seconds in parts.items())
        print(f"{count} boilers on {MANY_CORES} cores: {parts[slowest]:.0f} s ({told})")


if __name__ == "__main__":
    main()
