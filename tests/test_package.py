"""What an installed package carries besides its modules."""

import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "scalemodel"


def test_every_file_that_is_no_module_is_declared():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["setuptools"]["package-data"]["scalemodel"]
    declared = {path for pattern in patterns for path in PACKAGE.glob(pattern)}
    folders = [PACKAGE, *(path for path in PACKAGE.rglob("*") if path.is_dir() and path.name != "__pycache__")]
    there = {path for folder in folders for path in folder.iterdir() if path.is_file() and path.suffix != ".py"}
    assert declared == there
    assert {path.parent.name for path in there} >= {"templates", "assets", "demo", "logbook"}


def test_the_demo_s_files_are_there_once():
    assert (PACKAGE / "demo").resolve() == (ROOT / "data" / "demo").resolve()
