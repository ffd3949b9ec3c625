"""The README's shortest path: two commands that name a boiler and its water, `serve`, and the rest on the phone."""

import re
import shlex
from pathlib import Path

from click.testing import CliRunner

from scalemodel.cli.main import main
from scalemodel.serve.app import Site
from scalemodel.serve.settings import Settings
from tests.pages import console_blocks, run
from tests.serve.conftest import Phone, words

README = Path(__file__).parents[2] / "README.md"


def test_from_two_commands_to_a_date_on_the_phone(tmp_path):
    first, second, third = (one.typed for one in console_blocks(README.read_text(encoding="utf-8"))[:3])
    logbook = tmp_path / "logbook.sqlite3"
    for typed in (first, second):
        done = CliRunner().invoke(main, ["--logbook", str(logbook), *shlex.split(typed)[1:]])
        assert done.exit_code == 0, done.output
    assert third == "scalemodel serve --lan"
    assert run(third, logbook)[0].startswith("address: ")
    site = Site(Settings(logbook, tmp_path / "user"))
    try:
        phone = Phone(site)
        assert "no answer" in words(phone.get("/saved", entry=1)).lower()
        steps = (
            {"what": "fill", "water": "tap", "from_date": "2025-11-03"},
            {"what": "water-test", "water": "tap", "tds_mg_l": "140", "date": "2025-11-03"},
            {"what": "drinks", "drinks": "420", "litres_per_drink": "0.2"},
        )
        for form in steps:
            assert phone.post("/visit", boiler="kitchen", **form).status_code == 200
        saved = phone.post("/look", boiler="kitchen", grade="1", site="wall")
        assert re.search(r'<time id="until" datetime="\d{4}-\d\d-\d\d">', saved.text)
    finally:
        site.shop.close()
