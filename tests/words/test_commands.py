"""What to type is told in words and the command line alone: a Python caller is told what to record or to state."""

import re
from pathlib import Path

import pytest

import scalemodel
from scalemodel import api
from scalemodel.errors import Remedy, ScalemodelError
from scalemodel.words.commands import TYPED, typed_remedy
from tests.builders import history

ROOT = Path(scalemodel.__file__).parent
COMMAND = re.compile(r"scalemodel (?:add|new|amend|strike|history|import FOLDER|water|check)\b|--[a-z]{2,}")


@pytest.mark.parametrize("room", ["water", "model", "inference", "decision", "validation"])
def test_no_room_of_arithmetic_names_a_command_or_an_option(room):
    for path in sorted((ROOT / room).glob("*.py")):
        code = re.sub(r'""".*?"""', "", path.read_text(encoding="utf-8"), flags=re.S)
        assert COMMAND.findall(code) == [], path


@pytest.mark.parametrize("missing", [{"uses": ()}, {"fills": ()}, {"water_tests": ()}])
def test_a_caller_is_told_what_to_record_and_a_person_what_to_type(missing):
    with pytest.raises(ScalemodelError) as caught:
        api.posterior(history(**missing))
    assert not COMMAND.search(str(caught.value))
    assert COMMAND.search(caught.value.told(lambda part: typed_remedy(part)))


def test_every_remedy_that_is_named_has_its_command():
    named = set()
    for path in ROOT.rglob("*.py"):
        named |= set(re.findall(r'Remedy\("[^"]*", "([^"]+)"', path.read_text(encoding="utf-8")))
    assert named == set(TYPED)
    assert typed_remedy(Remedy("", "name", "boiler")).count("rename boiler") == 1
