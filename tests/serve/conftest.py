"""A site over a small logbook, and devices that are paired with it."""

import re
from datetime import date

import pytest

from scalemodel.logbook.records import Boiler, Descale, Fill, Inspection, Site, Use, Water, WaterTest
from scalemodel.logbook.store import Logbook
from scalemodel.serve.app import Site as Pages
from scalemodel.serve.app import make_app
from scalemodel.serve.settings import Settings

TODAY = date(2026, 11, 25)  # as tests/conftest.py has it
HOST = "127.0.0.1:8765"
ORIGIN = {"Origin": f"http://{HOST}"}
STRANGE = "<script>alert(1)<b> & \"bar\" 'left'"

RECORDS = (
    Boiler("kitchen", 0.8, 93.0, date(2026, 1, 10), area_cm2=500.0, note="second floor"),
    Boiler(STRANGE, 1.2, 93.0, date(2026, 3, 1)),
    Boiler("dry", 1.0, 93.0, date(2026, 3, 1)),
    Site("kitchen", "gauge"),
    Water("tap"),
    Water("soft"),
    WaterTest("tap", date(2026, 1, 10), tds_mg_l=150.0),
    WaterTest("soft", date(2026, 1, 10), tds_mg_l=60.0),
    Fill("kitchen", date(2026, 1, 10), "tap"),
    Fill(STRANGE, date(2026, 3, 1), "soft"),
    Use("kitchen", date(2026, 1, 10), date(2026, 10, 1), meter_from_l=0.0, meter_to_l=110.0),
    Use(STRANGE, date(2026, 3, 1), date(2026, 10, 1), litres=60.0),
    Inspection("kitchen", date(2026, 6, 1), "wall", 1, 1, note="<b>dull</b>"),
    Descale("kitchen", date(2026, 8, 1)),
)


@pytest.fixture
def logbook(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    with Logbook.create(path) as book:
        for record in RECORDS:
            book.add(record, sure=True)
    return path


class Phone:
    """A device: its cookies, and the forms that it sends."""

    def __init__(self, site: Pages, paired: bool = True) -> None:
        self.site = site
        self.client = make_app(site).test_client()
        if paired:
            assert self.get(f"/pair/{site.pairing.offer()}").status_code == 303

    def get(self, path: str, **words):
        headers = words.pop("headers", {})
        return self.client.get(path, query_string=words or None, headers={"Host": HOST, **headers})

    def token(self) -> str:
        return re.search(r'name="form_token" value="(\w+)"', self.get("/devices").text)[1]

    def post(self, path: str, follow: bool = True, headers: dict | None = None, **form):
        form = form if "form_token" in form else {**form, "form_token": self.token()}
        sent = {"Host": HOST, **(ORIGIN if headers is None else headers)}
        reply = self.client.post(path, data=form, headers=sent)
        reply.request.environ["wsgi.input"].close()  # a large body is a file of the test client
        if follow and reply.status_code == 303:
            return self.get(reply.headers["Location"])
        return reply


@pytest.fixture
def make_site(tmp_path, logbook):
    """Makes sites over the logbook, and closes them."""
    made = []

    def make(**more) -> Pages:
        made.append(Pages(Settings(logbook, tmp_path / "user", **more)))
        return made[-1]

    yield make
    for site in made:
        site.shop.close()


@pytest.fixture
def site(make_site):
    return make_site()


@pytest.fixture
def phone(site):
    return Phone(site)


def entries(logbook, kind: str = ""):
    """What a logbook holds now, of a kind if named."""
    with Logbook.open(logbook) as book:
        return [one for one in book.history() if kind in ("", one.kind)]


def words(reply) -> str:
    """What a page says, without its elements."""
    return " ".join(re.sub(r"<[^>]+>", " ", reply.text).split())
