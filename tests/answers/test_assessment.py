"""A fleet assessed: the rows of ``defer``, streamed, gone on with, and bounded in memory."""

import gc
import os
import signal
import subprocess
import sys
import time
from dataclasses import fields, replace

import pytest

import scalemodel
from scalemodel.answers.desk import Desk
from scalemodel.answers.relevant import relevant
from scalemodel.answers.rows import Due
from scalemodel.answers.stream import streamed
from scalemodel.answers.told import DATE_ALONE
from scalemodel.decision.question import Question
from scalemodel.logbook.records import BoilerFacts, Fill, Water, WaterTest
from scalemodel.logbook.store import Logbook
from tests.answers.fleets import at_once, named, small_fleet
from tests.builders import START, day, history, look

DRAWN = {"particles": 100, "seed": 3}


@pytest.fixture(scope="module")
def rows():
    return scalemodel.assess(small_fleet(8), workers=1, **DRAWN).rows()


def test_a_row_is_what_defer_gives(rows):
    by_name = {row.boiler: row for row in rows}
    for facts in small_fleet(6):
        row, answer = by_name[facts.boiler.boiler], scalemodel.defer(facts, **DRAWN)
        assert (row.status, row.defer_until, row.risk_now) == (answer.status, answer.defer_until, answer.risk_now)
        assert (row.p50, row.r_hat) == (answer.crossing["p50"], answer.engine.r_hat)
        assert row.deposit_mean_mg_cm2 == answer.deposit_now_mg_cm2.mean
        assert row.looks == len(facts.inspections)


def test_alarms_on_top_then_the_soonest_and_what_failed_last(rows):
    assert [row.status.rank for row in rows[:-1]] == sorted(row.status.rank for row in rows[:-1])
    assert rows[0].status == "look_again"
    assert rows[-1].reason


def test_processes_give_the_same_rows(rows):
    assert scalemodel.assess(small_fleet(8), workers=2, **DRAWN).rows() == rows


def test_rows_come_one_by_one_and_facts_are_read_no_further_than_needed(rows):
    read = []

    def reading():
        for facts in small_fleet(8):
            read.append(facts.boiler.boiler)
            yield facts

    asked = scalemodel.assess(reading(), workers=1, **DRAWN)
    assert read == []
    coming = iter(asked)
    assert next(coming) in rows
    assert len(read) == 1
    assert sorted(row.boiler for row in asked) == sorted(row.boiler for row in rows)  # from the first on again
    assert "8 boilers" in repr(asked)


def test_no_facts_pile_up(monkeypatch):
    """Of 400 boilers never more are held than what is on the way."""
    (facts,) = small_fleet(1)
    most = 0

    def held() -> int:
        gc.collect()
        return sum(type(one) is BoilerFacts for one in gc.get_objects())

    def reading():
        nonlocal most
        for k in range(400):
            if k % 20 == 0:
                most = max(most, held() - before)
            yield named(facts, f"b{k}")

    monkeypatch.setattr("scalemodel.answers.desk.solved", at_once)
    monkeypatch.setattr("scalemodel.answers.kept.MOST_IN_MEMORY", 10)
    with Desk(workers=2) as desk:
        before = held()
        assert sum(1 for _ in streamed(desk, reading(), DATE_ALONE)) == 400
        assert 0 < most <= 3 * desk.most_at_once  # each whole, and without the waters that do not bear on it


def test_a_table_has_every_field_and_timestamps(rows):
    frame = scalemodel.assess(small_fleet(8), workers=1, **DRAWN).to_frame()
    assert list(frame.columns) == [*(one.name for one in fields(Due)), "days"]
    assert list(frame["boiler"]) == [row.boiler for row in rows]
    assert {str(frame[name].dtype).split("[")[0] for name in ("as_of", "defer_until", "next_look")} == {"datetime64"}
    dated = [row.defer_until for row in rows if row.defer_until]
    assert list(frame["defer_until"].dropna().dt.date) == dated
    assert scalemodel.assess([], workers=1).to_frame().empty


def test_a_logbook_is_asked_whole(rows):
    with Logbook.in_memory(today=lambda: day(360)) as book:
        for facts in small_fleet(3):
            for record in (*facts.waters, *facts.water_tests):
                name = f"{record.water} {facts.boiler.boiler}"
                book.add(replace(record, water=name))
            book.add(facts.boiler)
            fills = [replace(one, water=f"{one.water} {facts.boiler.boiler}") for one in facts.fills]
            for record in (*facts.sites, *fills, *facts.uses, *facts.inspections):
                book.add(record, sure=True)
        found = scalemodel.assess(book, workers=1, **DRAWN).rows()
        assert [row.boiler for row in found] == [row.boiler for row in scalemodel.due(book, workers=1, **DRAWN)]
        assert found[0].as_of == day(360)
        for row in found:
            answer = scalemodel.defer(book.facts(row.boiler, day(360)), **DRAWN)
            assert (row.defer_until, row.risk_now) == (answer.defer_until, answer.risk_now)


def test_only_the_waters_that_bear_on_an_answer_are_part_of_it():
    facts = history(look(90, 1))
    more = replace(
        facts,
        waters=(*facts.waters, Water("well")),
        water_tests=(*facts.water_tests, WaterTest("well", START, tds_mg_l=90.0)),
    )
    assert relevant(more, Question()) == relevant(facts, Question()) != facts
    assert {w.water for w in relevant(more, Question(water="well")).waters} == {"tap", "well"}
    planned = replace(more, planned_fills=(Fill("urn", day(400), "well"),))
    assert {w.water for w in relevant(planned, Question()).waters} == {"tap", "well"}
    assert relevant(more, Question(water="nowhere")) is more  # the error names the waters that there are
    few, all_of_them = (
        scalemodel.assess([one], workers=1, **DRAWN).rows() for one in (relevant(facts, Question()), more)
    )
    assert few == all_of_them


KILLED = """
import sys
import scalemodel
from tests.answers.fleets import at_once, named, small_fleet
for k, row in enumerate(scalemodel.assess(small_fleet(30), workers=2, folder=sys.argv[1], particles=100, seed=3)):
    print(row.boiler, flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="kills as POSIX does")
def test_killed_and_started_again_it_goes_on_where_it_was(tmp_path, monkeypatch):
    run = subprocess.Popen([sys.executable, "-c", KILLED, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    done = [run.stdout.readline().strip() for _ in range(8)]
    run.send_signal(signal.SIGKILL)
    run.wait()
    run.stdout.close()
    time.sleep(0.1)
    solved_again = []
    from scalemodel.answers import desk as desks

    real = desks.solved

    def noted(facts, *more):
        solved_again.append(facts.boiler.boiler)
        return real(facts, *more)

    monkeypatch.setattr(desks, "solved", noted)
    found = scalemodel.assess(small_fleet(30), workers=1, folder=tmp_path, **DRAWN).rows()
    assert len(found) == 30
    answered = {row.boiler for row in found if not row.reason}
    assert not (set(done) & answered) & set(solved_again)
    assert len(solved_again) < 30


def test_what_is_fresh_is_never_thinned(tmp_path, monkeypatch):
    monkeypatch.setattr("scalemodel.answers.kept.MOST_FILES", 2)
    scalemodel.assess(small_fleet(6), workers=1, folder=tmp_path, **DRAWN).rows()
    assert len(list(tmp_path.iterdir())) == 6
