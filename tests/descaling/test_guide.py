"""How to look, and lines that fit a phone."""

import shlex

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.descaling.guide import make_guide
from scalemodel.descaling.narrow_layout import WIDTH, Step, command_lines, numbered, wrapped
from scalemodel.logbook.records import Site
from scalemodel.model.priors import CUT_POINTS_MG_CM2, GRADE_WORDS
from tests.builders import history


def test_a_safe_look():
    guide = make_guide()
    said = " ".join([*guide.cautions, *(s.text for s in guide.steps)])
    for words in ("Switch off", "mains", "isolate", "cool", "pressure", "drain", "seldom waterproof", "empty"):
        assert words in said


def test_grades_in_the_words_of_the_model():
    grades = make_guide().grades
    assert len(grades) == len(GRADE_WORDS) == len(CUT_POINTS_MG_CM2) + 1
    for number, (line, words) in enumerate(zip(grades, GRADE_WORDS, strict=True)):
        assert line.startswith(f"{number}: {words}")
    assert "30 um, 6 mg/cm2" in grades[3]


def test_ranges_are_explained():
    said = " ".join(make_guide().ranges)
    for form in ("1-2", "3+", "1-"):
        assert form in said


def test_a_boilers_own_sites():
    facts = history(
        sites=(Site("urn", "lid", reference=True), Site("urn", "element", look_cost=25.0, note="hot\nside"))
    )
    guide = make_guide(facts.boiler, facts.sites)
    assert guide.sites[:3] == (
        "lid: the reference: answers are about it.", "wall.", "element: a look costs 25; hot side.",
    )  # fmt: skip
    assert "threshold of urn is grade 3: a rough crust" in guide.sites[-1]
    assert guide.steps[-1].commands[0][0] == "scalemodel add inspection urn"
    plain = make_guide(facts.boiler)
    assert plain.sites[0].startswith("wall: the reference")


def test_a_guide_without_a_boiler_says_which_sites():
    said = " ".join(make_guide().sites)
    for words in ("wall", "sight chamber", "element", "scalemodel new site"):
        assert words in said


WORD = st.text("abc-=", min_size=1, max_size=WIDTH - 8)


@given(st.lists(WORD, min_size=1, max_size=20))
def test_lines_fit_a_phone_and_keep_every_word(words):
    text = " ".join(words)
    for lines in (wrapped(text, "- "), numbered([Step(text)] * 12)[-len(wrapped(text, "12. ")) :]):
        assert all(len(line) <= WIDTH for line in lines)
    assert "".join(wrapped(text, "- ")).replace(" ", "") == "-" + "".join(words)


@given(st.lists(st.text("ab-", min_size=1, max_size=30), min_size=1, max_size=12))
def test_a_broken_command_is_the_same_command(words):
    lines = command_lines(words, "    ")
    assert all(len(line) <= WIDTH for line in lines)
    assert shlex.split("\n".join(lines).replace("\\\n", " ")) == words


@pytest.mark.parametrize("fenced", [True, False])
def test_numbers_and_commands(fenced):
    lines = numbered([Step("one"), Step("two", (("a", "b"),))], fenced)
    assert lines[:2] == ["1.  one", "2.  two"]
    assert "    a b" in lines
    assert ("    ```sh" in lines) == fenced
