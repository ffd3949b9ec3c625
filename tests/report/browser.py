"""A real browser without a window, for tests of pages; and why there is none, where there is none."""

import base64
import json
import os
import re
import shutil
from contextlib import contextmanager
from pathlib import Path

import pytest

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-quic",
    "--hide-scrollbars",
)


def missing() -> str | None:
    """What a browser test lacks here, or None."""
    try:
        import selenium  # noqa: F401
    except ImportError:
        return "selenium is not installed (pip install -e '.[test]')"
    if not shutil.which("chromium"):
        return "chromium is not installed (apt-get install chromium)"
    if not shutil.which("chromedriver"):
        return "chromedriver is not installed (apt-get install chromium-driver)"
    return None


def need_browser() -> None:
    """Skip with the reason where no browser is installed; but fail where CI is set, which has to have one."""
    if (why := missing()) is None:
        return
    if os.environ.get("CI", "").lower() in ("1", "true", "yes"):
        pytest.fail(f"CI is set, so a browser must be there: {why}")
    pytest.skip(why)


class Browser:
    """A page in Chromium, and the questions that the tests ask of it."""

    def __init__(self, driver) -> None:
        self.driver = driver

    def command(self, name: str, **given):
        return self.driver.execute_cdp_cmd(name, given)

    def js(self, code: str, *given):
        return self.driver.execute_script(code, *given)

    def open(self, path: Path, width: int = 1100, height: int = 900, **media: str) -> None:
        """Load a file in a window of a size; ``media`` are features such as prefers_color_scheme="dark"."""
        self.command(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False
        )
        features = [{"name": name.replace("_", "-"), "value": value} for name, value in media.items()]
        self.command("Emulation.setEmulatedMedia", media="", features=features)
        self.driver.get_log("browser")
        self.driver.get_log("performance")
        self.driver.get(path.as_uri())

    def console(self) -> list[str]:
        """What the page put on the console since it was opened."""
        return [entry["message"] for entry in self.driver.get_log("browser")]

    def requests(self) -> list[str]:
        """The address of every request made since the page was opened."""
        events = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        return [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]

    def accessible(self) -> list[tuple[str, str]]:
        """Role and name of everything that the accessibility tree shows."""
        self.command("Accessibility.enable")
        nodes = self.command("Accessibility.getFullAXTree")["nodes"]
        return [
            (node["role"]["value"], node.get("name", {}).get("value", "").strip())
            for node in nodes
            if not node.get("ignored")
        ]

    def pages(self) -> int:
        """How many sheets it prints on."""
        pdf = base64.b64decode(self.command("Page.printToPDF", preferCSSPageSize=True, printBackground=True)["data"])
        return len(re.findall(rb"/Type\s*/Page\b", pdf))


@contextmanager
def chromium(profile: Path):
    """A browser with an empty profile."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium")
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    try:
        yield Browser(driver)
    finally:
        driver.quit()
