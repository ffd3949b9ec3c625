"""``scalemodel new``."""

import pytest

from scalemodel.logbook.records import Boiler, Site, Water
from scalemodel.logbook.store import Logbook
from tests.cli.runner import KITCHEN


def records(desk, kind):
    with Logbook.open(desk.path) as book:
        return book.records(kind)


def test_a_boiler_begins_the_logbook(desk):
    assert not desk.path.exists()
    assert desk.do(*KITCHEN) == (
        "recorded boiler 1: kitchen, 0.75 L at 93 C, installed 2025-01-10 free of scale, threshold grade 3, "
        "tolerance 0.1\n"
        "  taken as free of scale when installed; if it was used before: scalemodel amend 1 start=unknown\n"
    )
    (boiler,) = records(desk, "boiler")
    assert boiler == Boiler("kitchen", 0.75, 93.0, boiler.installed_on)


def test_a_boiler_with_everything(desk):
    said = desk.do(
        "new", "boiler", "Küche 台", "--volume", "2", "--temperature", "250 F",
        "--installed", "2025-01-10", "--area", "640", "--steam-share", "0.4", "--start", "UNKNOWN",
        "--threshold-grade", "2", "--tolerance", "0.05", "--note", "  by the\nwindow ",
    )  # fmt: skip
    assert said == (
        "recorded boiler 1: Küche 台, 2 L at 121.11 C, 640 cm2, 0.4 of its water leaves as steam, installed "
        "2025-01-10 with an unknown history, threshold grade 2, tolerance 0.05, note: by the window\n"
    )
    (boiler,) = records(desk, "boiler")
    assert (boiler.temperature_c, boiler.start, boiler.note) == (121.11, "unknown", "by the\nwindow")


def test_sites(desk):
    desk.do(*KITCHEN)
    assert desk.do("new", "site", "kitchen", "gauge", "--look-cost", "2") == (
        "recorded site 2: kitchen, gauge, a look costs 2\n"
    )
    belief = ("--relative-deposit", "1.5", "--relative-log-sd", "0.3")
    said = desk.do("new", "site", "kitchen", "lid", "--reference", *belief, "--note", "x")
    assert said == ("recorded site 3: kitchen, lid, reference, relative deposit 1.5, its log-sd 0.3, note: x\n")
    assert records(desk, "site") == (
        Site("kitchen", "gauge", look_cost=2.0),
        Site("kitchen", "lid", True, 1.5, 0.3, None, "x"),
    )


def test_waters_need_no_boiler(desk):
    assert desk.do("new", "water", "tap", "--cost-per-litre", "0.004") == "recorded water 1: tap, 0.004 a litre\n"
    assert desk.do("new", "water", "rain", "--note", "soft") == "recorded water 2: rain, note: soft\n"
    assert records(desk, "water") == (Water("tap", 0.004), Water("rain", None, "soft"))


@pytest.mark.parametrize("words", [("boiler", "--help"), ("site", "--help"), ("water", "--help"), ("--help",)])
def test_every_help_has_an_example(desk, words):
    assert desk.do("new", *words).count("Example:\n  ") == 1
    assert not desk.path.exists()


def test_defaults_in_the_help_are_the_records_own(desk):
    said = " ".join(desk.do("new", "boiler", "--help").split())
    for default in (Boiler.__dataclass_fields__[f].default for f in ("start", "threshold_grade", "tolerance")):
        assert f"(default: {default})" in said
