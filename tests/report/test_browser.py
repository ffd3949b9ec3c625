"""Where no browser is, its tests are skipped with the reason; but not where CI is set."""

import pytest

from tests.report import browser


@pytest.fixture
def nowhere(monkeypatch):
    monkeypatch.setattr(browser.shutil, "which", lambda name: None)


@pytest.mark.parametrize("ci", ["true", "1", "TRUE"])
def test_where_ci_is_set_a_missing_browser_fails(nowhere, monkeypatch, ci):
    monkeypatch.setenv("CI", ci)
    with pytest.raises(pytest.fail.Exception, match=r"a browser must be there: (chromium|selenium) is not installed"):
        browser.need_browser()


@pytest.mark.parametrize("ci", ["", "false"])
def test_elsewhere_it_is_skipped_with_the_reason(nowhere, monkeypatch, ci):
    monkeypatch.setenv("CI", ci)
    with pytest.raises(pytest.skip.Exception, match="is not installed"):
        browser.need_browser()


def test_the_driver_is_asked_for_too(monkeypatch):
    monkeypatch.setattr(browser.shutil, "which", lambda name: "/usr/bin/chromium" if name == "chromium" else None)
    assert browser.missing().startswith(("chromedriver is not installed", "selenium is not installed"))


def test_there_is_nothing_to_say_where_one_is(monkeypatch):
    monkeypatch.setattr(browser, "missing", lambda: None)
    assert browser.need_browser() is None
