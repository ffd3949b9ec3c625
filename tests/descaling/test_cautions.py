"""Cautions: all of them, always, those about metals first."""

import pytest

from scalemodel.descaling.acid import ACIDS
from scalemodel.descaling.cautions import attacked_metals, cautions
from scalemodel.logbook.records import Site
from tests.builders import history

CITRIC, SULFAMIC = ACIDS["citric-monohydrate"], ACIDS["sulfamic"]
ALWAYS = (
    "aluminium", "plating", "cannot name", "maker's instructions", "local codes", "licensed", "mains", "cool",
    "pressure", "Never heat an empty", "bleach", "eye protection and gloves", "open a window", "Leave an outlet open",
    "Never hotter than 70 C", "No detergent", "three-way valve vents", "No vinegar",
)  # fmt: skip


def noted(note: str, site_note: str = ""):
    sites = (Site("urn", "element", note=site_note),)
    return history(boiler={"note": note}, sites=sites)


@pytest.mark.parametrize("acid", ACIDS.values(), ids=lambda a: a.kind)
@pytest.mark.parametrize("load", [0.0, 50.0])
def test_every_caution_is_there(acid, load):
    said = "\n".join(cautions(noted("stainless"), acid, load))
    for words in ALWAYS:
        assert words in said


def test_metals_come_first():
    assert cautions(noted(""), CITRIC, 1.0)[0].startswith("Know the metals first")
    said = cautions(noted("Aluminium boiler", "nickel-plated element"), CITRIC, 1.0)
    assert [s.split(":")[0] for s in said[:3]] == [
        "STOP. A note of urn names aluminium", "STOP. A note of urn names nickel", "STOP. A note of urn names plating",
    ]  # fmt: skip
    assert said[3].startswith("Know the metals first")


@pytest.mark.parametrize(
    ("note", "names"),
    [
        ("aluminum body", ["aluminium"]),
        ("alu/steel", ["aluminium"]),
        ("chromed lid", ["chrome"]),
        ("Nickelled", ["nickel"]),
        ("tin-plated copper", ["tin", "plating"]),
        ("BRASS fittings, lead solder", ["brass or bronze", "lead or solder"]),
        ("galvanised", ["zinc"]),
        ("cast iron, enamelled", ["plain iron", "enamel"]),
        ("carbon steel", ["plain iron"]),
        ("silver_plated", ["silver", "plating"]),
        ("stainless steel, leads to the tap, tiny, environment, platform", []),
        ("", []),
    ],
)
def test_metals_by_the_words_of_a_note(note, names):
    assert [name for name, _ in attacked_metals(noted(note))] == names
    assert [name for name, _ in attacked_metals(noted("", note))] == names


def test_calcium_citrate_only_where_it_can_form():
    assert any(s.startswith("Calcium citrate: a pass may dissolve 3.6 g/L") for s in cautions(noted(""), CITRIC, 3.6))
    assert not any("Calcium citrate" in s for s in cautions(noted(""), CITRIC, 0.5))
    assert any("Calcium citrate" in s for s in cautions(noted(""), CITRIC, 0.51))
    assert not any("Calcium citrate" in s for s in cautions(noted(""), SULFAMIC, 50.0))


def test_what_sulfamic_acid_needs_more():
    said = "\n".join(cautions(noted(""), SULFAMIC, 1.0))
    assert "never taste" in said
    assert "gypsum" in said
    assert "never taste" not in "\n".join(cautions(noted(""), CITRIC, 1.0))
