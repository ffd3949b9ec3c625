"""A cluster of real processes: the same rows as here, whatever happens to its workers."""

import os
import random
import signal
import threading
import time
from contextlib import suppress

import pytest

import scalemodel
from scalemodel.answers import cluster as room
from scalemodel.answers.cluster import Cluster, do_all, own_mark
from scalemodel.answers.told import Failure
from scalemodel.answers.worker import END
from scalemodel.errors import BadValueError, ScalemodelError
from tests.answers.fleets import small_fleet

dask, distributed = pytest.importorskip("dask"), pytest.importorskip("distributed")
MADE = {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": ":0", "silence_logs": 50}
BOILERS = 16
DRAWN = {"particles": 100, "seed": 3}
PATIENT = {"distributed.deploy.lost-worker-timeout": "10 minutes"}
"""A machine under load takes its time to start a worker anew."""

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")


@pytest.fixture(scope="module")
def cluster():
    with dask.config.set(PATIENT), distributed.LocalCluster(**MADE) as made:
        yield made


@pytest.fixture(scope="module")
def here():
    """The rows as this process works them out."""
    return scalemodel.assess(small_fleet(BOILERS), workers=1, **DRAWN).rows()


def test_the_rows_are_those_of_this_process(cluster, here):
    assert scalemodel.assess(small_fleet(BOILERS), scheduler=cluster.scheduler_address, **DRAWN).rows() == here
    assert sum(bool(row.reason) for row in here) == BOILERS // 7


def test_a_client_of_ones_own_is_left_open(cluster, here):
    with distributed.Client(cluster, set_as_default=False) as client:
        assert (
            scalemodel.assess(small_fleet(3), scheduler=client, **DRAWN).rows()
            == scalemodel.assess(small_fleet(3), workers=1, **DRAWN).rows()
        )
        assert client.status == "running"


def test_workers_killed_all_the_while_change_no_row(cluster, here):
    """One of the two is killed at the start and after every third boiler, with others on the way."""
    killed, chance = 0, random.Random(1)
    asked = scalemodel.assess(small_fleet(BOILERS), scheduler=cluster.scheduler_address, **DRAWN)
    for k, _ in enumerate(asked):
        there = set(cluster.scheduler.workers)  # one that dies before it is there is not replaced
        alive = [nanny.pid for nanny in cluster.workers.values() if nanny.pid and nanny.worker_address in there]
        if k % 3 == 0 and alive:
            with suppress(ProcessLookupError):
                os.kill(chance.choice(alive), signal.SIGKILL)
                killed += 1
    assert asked.rows() == here
    assert killed >= 3


def deadly(name: str):
    """A job that ends its worker, if it is told to."""
    if name == "deadly":
        time.sleep(1.0)  # it is there before it goes
        os._exit(1)
    yield "name", name


@pytest.fixture
def strict_cluster():
    """One whose scheduler gives a task up at the first death of its worker."""
    strict = {"distributed.scheduler.allowed-failures": 0}
    with dask.config.set(PATIENT | strict), distributed.LocalCluster(**MADE) as made:
        yield made


def test_a_boiler_that_kills_every_worker_is_told_and_the_others_are_answered(strict_cluster):
    crew, told, all_there = Cluster(strict_cluster.scheduler_address), {}, threading.Event()
    names = ["deadly", *map(str, range(5))]

    def telling(name):
        def tell(part, what):
            told.setdefault(name, []).append((part, what))
            if all(told.get(one, [("", 0)])[-1][0] == END for one in names if one in told) and len(told) == len(names):
                all_there.set()

        return tell

    crew._worked, crew._done_jobs = 0.1, 1.0  # so that they go together
    for name in names:
        crew.give((deadly, name), telling(name))
    assert len(crew._held) == len(names)
    crew.flush()
    assert all_there.wait(300)
    crew.close()
    assert "stopped" in told["deadly"][-1][1].reason
    assert all(told[name] == [("name", name), (END, None)] for name in names[1:])


def test_a_cluster_that_lost_all_workers_is_told_in_time(cluster, monkeypatch):
    crew = Cluster(cluster.scheduler_address)
    crew.check()
    monkeypatch.setattr(room, "LOOKED_FOR_EVERY", 0.0)
    crew.check()
    monkeypatch.setattr(room, "LONGEST_WITHOUT", -1.0)
    monkeypatch.setattr(crew._client, "nthreads", dict)
    with pytest.raises(ScalemodelError, match="no worker"):
        crew.check()
    crew.close()


def test_a_worker_with_another_program_is_told(monkeypatch):
    (told,), _ = do_all(("0.0.0", "x"), [(deadly, "a")])
    assert "0.0.0" in told[0][1].reason
    assert isinstance(told[0][1], Failure)
    assert do_all(own_mark(), [(deadly, "a")])[0] == [[("name", "a"), (END, None)]]


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nowhere", "tcp://127.0.0.1", ""])
def test_no_scheduler_is_a_line(address, monkeypatch):
    monkeypatch.setattr(room, "PATIENCE", "1s")
    with pytest.raises(BadValueError, match="scheduler"):
        scalemodel.assess(small_fleet(1), scheduler=address).rows()


def test_a_scheduler_that_goes_ends_the_run_in_a_line_and_what_is_answered_is_kept(tmp_path):
    made = distributed.LocalCluster(**MADE)
    asked = scalemodel.assess(small_fleet(40), scheduler=made.scheduler_address, folder=tmp_path, **DRAWN)
    first = next(iter(asked))
    made.close()
    with pytest.raises(ScalemodelError, match="kept"):
        list(asked)
    same = [one for one in small_fleet(40) if one.boiler.boiler == first.boiler]
    assert scalemodel.assess(same, workers=1, folder=tmp_path, **DRAWN).rows() == [first]
