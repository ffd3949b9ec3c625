"""What a cold command costs beside its bare imports: work, modules, memory; nothing here is a test.

Prints (1) for each of some commands on the demo's logbook, in a process of its own, the least work of several runs
(user and system time, which a busy machine moves less than the clock), its ratio to the bare imports, how many modules
are loaded at the end and the most memory that was resident; (2) the memory of `fleet assess` for invented fleets of
rising size, of the asking process and of the largest worker. With ``--nuts`` the first table also has the posteriors of
those `defer` drawn by NUTS instead, each in a process of its own that has compiled all it needs before. With
``--write`` the tables replace those in docs/performance.md. Linux only.

    python -m benchmarks.cold [--runs 9] [--fleets 50 400] [--nuts] [--write]
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "performance.md"
BARE = "import click, sqlite3, numpy, scipy.special"
OURS = f"{BARE}; import scalemodel.cli.ask, scalemodel.words.advice, scalemodel.decision.water_test_value"
COMMANDS = (
    ("--help",),
    ("history", "hall-urn"),
    ("due", "--particles", "500"),
    ("defer", "hall-urn", "--particles", "500"),
    ("defer", "loft-brew", "--particles", "500"),
    ("defer", "loft-brew"),
)
BY_NUTS, NUTS_RUNS = ("hall-urn", "loft-brew"), 1
TODAY, FLEET_PARTICLES, JOBS = "2026-11-25", 100, 2
COUNTED = "import atexit, sys; atexit.register(lambda: print('MODULES', len(sys.modules)))"


def written(benchmark: str, rows: list[str]) -> None:
    """Put a benchmark's table in the place of its last one in docs/performance.md, between its marks."""
    begin, end = (f"<!-- {side}: benchmarks.{benchmark} -->" for side in ("begin", "end"))
    before, rest = PAGE.read_text(encoding="utf-8").split(begin)
    table = "\n".join(["", "", *rows, "", end])
    PAGE.write_text(before + begin + table + rest.split(end)[1], encoding="utf-8")


def surroundings(folder: Path) -> dict[str, str]:
    """Variables of a process that keeps compiled modules and answers in a folder, and knows its day."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {
        "PYTHONPYCACHEPREFIX": str(folder / "compiled"),
        "XDG_CONFIG_HOME": str(folder / "user"),
        "SCALEMODEL_TODAY": TODAY,
    }


def of_command(*arguments: str) -> str:
    """Source that runs a command of the command line."""
    return f"from scalemodel.cli.main import main; main({list(arguments)!r})"


def by_nuts(book: Path, boiler: str) -> str:
    """Source that draws a boiler's posterior by NUTS: four chains of 1,000 draws."""
    return (
        "from scalemodel.logbook.store import Logbook; from scalemodel.model.habits import as_read; "
        "from scalemodel.model.target import model_of; "
        "from scalemodel.validation.pymc_twin import build_twin, run_nuts; "
        f"facts = as_read(Logbook.open({str(book)!r}).facts({boiler!r}, {TODAY!r})); "
        "run_nuts(build_twin(model_of(facts)[0]), 1); print()"
    )


def cost(source: str, variables: dict[str, str], runs: int) -> tuple[float, float, int]:
    """The least work [s] and the least peak of memory [MB] of some runs of a source, and its modules at the end."""
    least = []
    for _ in range(runs + 1):  # the first one compiles
        process = subprocess.Popen([sys.executable, "-c", source], stdout=subprocess.DEVNULL, env=variables)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode == 0, source
        least.append((used.ru_utime + used.ru_stime, used.ru_maxrss / 1024))
    said = subprocess.run(
        [sys.executable, "-c", f"{COUNTED}; {source}"], capture_output=True, text=True, env=variables, check=True
    )
    work, peak = (min(values) for values in zip(*least[1:], strict=True))
    return work, peak, int(said.stdout.rsplit("MODULES", 1)[1])


def commands(folder: Path, runs: int, nuts: bool) -> list[str]:
    """The table of commands."""
    variables, book = surroundings(folder), ["--logbook", str(folder / "demo.sqlite3")]
    subprocess.run(
        [sys.executable, "-c", of_command(*book, "import", str(ROOT / "data" / "demo"))],
        env=variables,
        check=True,
        stdout=subprocess.DEVNULL,
    )
    asked = [("bare imports: click, sqlite3, numpy, scipy.special", BARE), ("all that a `defer` imports", OURS)]
    asked += [(f"`scalemodel {' '.join(one)}`", of_command(*book, *one)) for one in COMMANDS]
    asked = [(*one, runs) for one in asked]
    if nuts:
        sources = {one: by_nuts(folder / "demo.sqlite3", one) for one in BY_NUTS}
        asked += [(f"NUTS: 4 x 1,000 draws of {one}", source, NUTS_RUNS) for one, source in sources.items()]
    rows, bare = ["| what | work, ms | to bare imports | modules | peak memory, MB |", "|---|---|---|---|---|"], 0.0
    for title, source, least_of in asked:
        work, peak, modules = cost(source, variables, least_of)
        bare = bare or work
        rows.append(f"| {title} | {1000 * work:.0f} | {work / bare:.2f} | {modules} | {peak:.0f} |")
        print(rows[-1], flush=True)
    return rows


def peak_of(process: int) -> int:
    """The most that was resident of a process so far [kB]; 0 once it is gone."""
    try:
        found = re.search(r"VmHWM:\s*(\d+) kB", Path(f"/proc/{process}/status").read_text())
    except OSError:
        return 0
    return int(found[1]) if found else 0


def children_of(process: int) -> list[int]:
    """The processes that one has started and that are there."""
    places = Path(f"/proc/{process}/task").glob("*/children")
    try:
        return [int(child) for place in places for child in place.read_text().split()]
    except OSError:
        return []


def fleet(folder: Path, boilers: int) -> str:
    """The row of a fleet of so many boilers."""
    variables = surroundings(folder) | {"XDG_CONFIG_HOME": str(folder / f"user-{boilers}")}
    files, book = str(folder / f"fleet-{boilers}"), ["--logbook", str(folder / f"{boilers}.sqlite3")]
    steps = (("simulate", "--boilers", str(boilers), "--seed", "3", "--out", files), (*book, "import", files, "--sure"))
    for step in steps:
        run = [sys.executable, "-c", of_command(*step)]
        subprocess.run(run, env=variables, check=True, stdout=subprocess.DEVNULL)
    asked = (*book, "fleet", "assess", "--jobs", str(JOBS), "--particles", str(FLEET_PARTICLES))
    run = [sys.executable, "-c", of_command(*asked)]
    asking, working = 0, 0
    with subprocess.Popen(run, env=variables, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        while process.poll() is None:
            asking = max(asking, peak_of(process.pid))
            working = max([working, *map(peak_of, children_of(process.pid))])
            time.sleep(0.2)
    assert process.returncode == 0
    row = f"| {boilers} | {asking / 1024:.0f} | {working / 1024:.0f} |"
    print(row, flush=True)
    return row


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--fleets", type=int, nargs="*", default=[])
    parser.add_argument("--nuts", action="store_true")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        rows = commands(Path(name), given.runs, given.nuts)
        if given.fleets:
            rows += ["", "| boilers | asking process, MB | largest worker, MB |", "|---|---|---|"]
            rows += [fleet(Path(name), boilers) for boilers in given.fleets]
    if given.write:
        written("cold", rows)


if __name__ == "__main__":
    main()
