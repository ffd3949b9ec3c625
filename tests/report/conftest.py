from datetime import date
from pathlib import Path

import pytest

from scalemodel import api
from scalemodel.logbook.csv_folder import import_folder
from scalemodel.logbook.store import Logbook
from scalemodel.report.contents import report_contents

DEMO = Path(__file__).parents[2] / "data" / "demo"
DEMO_DAY = date(2026, 11, 1)


@pytest.fixture(scope="session")
def demo_questions():
    """The prepared question of every boiler of the demo, by its name."""
    with Logbook.in_memory(today=lambda: DEMO_DAY) as book:
        import_folder(book, DEMO)
        return {b.boiler: api.prepare(book.facts(b.boiler, DEMO_DAY), particles=200) for b in book.boilers()}


@pytest.fixture(scope="session")
def demo_contents(demo_questions):
    """What the report of every boiler of the demo says, by its name."""
    return {name: report_contents(question) for name, question in demo_questions.items()}
