"""How fast the pages at the machine are, as ratios to a cold `scalemodel defer` of the same boiler; no test.

Prints, for a boiler with 15 looks, (1) a page of each sort, (2) the new date after a look is saved, (3) the list on
another phone meanwhile, alone and at its slowest, and (4) `due` over many boilers, cold and when nothing changed.

    python -m benchmarks.serving [--boilers 100] [--repeats 5]
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from http.cookiejar import CookieJar
from pathlib import Path
from statistics import median
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, ProxyHandler, Request, build_opener

from benchmarks.speed import invented
from scalemodel.logbook.store import Logbook

PAGES = ("/", "/boiler?boiler=urn", "/history?boiler=urn", "/guide?boiler=urn", "/visit?boiler=urn&what=litres")
GRADES = ("1", "1-2", "2", "0-1", "2-3")


class Phone:
    """A paired device over a real connection."""

    def __init__(self, base: str, cookies: CookieJar) -> None:
        self.base, self.opener = base, build_opener(ProxyHandler({}), HTTPCookieProcessor(cookies))

    def ask(self, path: str, form: dict | None = None) -> tuple[float, str]:
        """Seconds until a page is there, and its text."""
        data = None if form is None else urlencode(form).encode()
        began = time.perf_counter()
        request = Request(self.base + path, data, {"Origin": self.base} if form else {})
        text = self.opener.open(request, timeout=120).read().decode()
        return time.perf_counter() - began, text


def filled(path: Path, facts, boilers: int) -> None:
    """A logbook of one boiler, and others like it."""
    today = facts.as_of + timedelta(days=1)
    with Logbook.create(path, today=lambda: today) as book, book.transaction():
        for record in (*facts.waters, *facts.water_tests):
            book.add(record)
        for name in map(name_of, range(boilers)):
            own = (facts.boiler, *facts.sites, *facts.fills, *facts.uses, *facts.inspections, *facts.descales)
            for record in own:
                book.add(replace(record, boiler=name), again=True, sure=True)


def name_of(number: int) -> str:
    """What a boiler of the logbook is called, the first from 0 on."""
    return f"urn {number}" if number else "urn"


def timed(command: list[str], environment: dict) -> float:
    """Seconds of a command [s]."""
    began = time.perf_counter()
    subprocess.run([sys.executable, "-m", "scalemodel.cli", *command], check=True, capture_output=True, env=environment)
    return time.perf_counter() - began


def pages(phone: Phone, cold: float, repeats: int) -> None:
    """Pages of each sort, when their answers are there."""
    for path in (
        "/",
        "/boiler?boiler=urn",
        "/history?boiler=urn",
        "/guide?boiler=urn",
        "/visit?boiler=urn&what=litres",
    ):
        while 'id="waiting"' in phone.ask(path)[1]:
            time.sleep(0.5)
        said(f"page {path.partition('?')[0]}", median(phone.ask(path)[0] for _ in range(repeats)), cold)


def saved(phone: Phone, other: Phone, cold: float, repeats: int) -> None:
    """The new date after a look at one boiler after the other, while another phone asks for the list all the time."""
    times, meanwhile, stop = [], [], threading.Event()

    def ask_on() -> None:
        while not stop.is_set():
            meanwhile.append(other.ask("/")[0])
            time.sleep(0.02)

    asking = threading.Thread(target=ask_on)
    asking.start()
    for k in range(repeats):
        place = f"/boiler?{urlencode({'boiler': name_of(k)})}"
        while "data-waiting" in (page := phone.ask(place)[1]):
            time.sleep(0.2)  # one reads the next look before one looks again
        form = dict(re.findall(r'<input type="hidden" name="(form_token|key|boiler)" value="([^"]*)"', page))
        seconds, text = phone.ask("/look", {**form, "grade": GRADES[k % len(GRADES)], "site": "wall", "note": str(k)})
        assert 'id="until"' in text, text
        times.append(seconds)
    stop.set()
    asking.join()
    said("the new date after a saved look", median(times), cold)
    said("the same, the slowest (a look that surprises)", max(times), cold)
    said("the list on another phone meanwhile", median(meanwhile), cold)
    said("the same, the slowest", max(meanwhile), cold)


def said(what: str, seconds: float, cold: float) -> None:
    """A line: the ratio, and the time behind it."""
    print(f"{what:46} {seconds / cold:8.3f}  ({1000 * seconds:.0f} ms)", flush=True)


@contextmanager
def serving(logbook: Path, environment: dict) -> Iterator[tuple[str, CookieJar]]:
    """A server over a logbook, and the cookies of a device that is paired with it."""
    command = [sys.executable, "-m", "scalemodel.cli", "--logbook", str(logbook), "serve", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as server:
        address = server.stdout.readline().removeprefix("address: ").strip()
        base, path = re.match(r"(http://[^/]+)(/pair/.*)", address).groups()
        cookies = CookieJar()
        Phone(base, cookies).ask(path)
        try:
            yield base, cookies
        finally:
            server.terminate()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boilers", type=int, default=100)
    parser.add_argument("--repeats", type=int, default=5)
    given = parser.parse_args()
    facts = invented(15, 24, 140.0)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        today = str(facts.as_of + timedelta(days=1))
        environment = {**os.environ, "XDG_CONFIG_HOME": place, "SCALEMODEL_TODAY": today}
        one, many = folder / "one.sqlite3", folder / "many.sqlite3"
        filled(one, facts, given.repeats)
        filled(many, replace(facts, inspections=facts.inspections[1:]), given.boilers)  # whose answers are not kept yet
        cold = median(timed(["--logbook", str(one), "defer", "urn"], environment) for _ in range(3))
        print(f"ratios to a cold defer of {len(facts.inspections)} looks ({1000 * cold:.0f} ms)")
        with serving(one, environment) as (base, cookies):
            phone, other = Phone(base, cookies), Phone(base, cookies)
            pages(phone, cold, given.repeats)
            saved(phone, other, cold, given.repeats)
        for what in ("cold", "when nothing changed"):
            seconds = timed(["--logbook", str(many), "due", "--json"], environment)
            said(f"due over {given.boilers} boilers, {what}", seconds, cold)


if __name__ == "__main__":
    main()
