"""A server that runs in a thread, can be stopped and started, and may swallow its replies; and a phone before it."""

import threading
import time
from contextlib import contextmanager
from dataclasses import replace
from datetime import date

from scalemodel.serve import run
from scalemodel.serve.app import Site
from scalemodel.serve.settings import Settings
from scalemodel.serve.web import Reply

MIDDLE = """
const one = document.querySelector(arguments[0]);
one.scrollIntoView({block: 'center', behavior: 'instant'});
const box = one.getBoundingClientRect();
return [box.x + box.width / 2, box.y + box.height / 2];
"""


def end(server, thread: threading.Thread) -> None:
    """End a server's loop in its own thread, as a signal would, and only then close what it listens on."""

    def stop(now: float) -> None:
        raise SystemExit

    server.maintenance, server.next_channel_cleanup = stop, 0
    server.pull_trigger()
    thread.join(timeout=10)
    for channel in list(server.active_channels.values()):
        channel.handle_close()
    server.close()


class RunningSite:
    """The pages on a port of this machine; ``swallow`` records what is sent, but its sender hears nothing; ``foreign``
    is what somebody else replies in its place."""

    def __init__(self, folder) -> None:
        self.settings = Settings(folder / "logbook.sqlite3", folder / "user", port=0)
        self.swallow, self.foreign, self.swallowed = False, "", False
        self.start()
        with self.site.shop.reading() as book:
            facts = [book.facts(one.boiler, book.today()) for one in book.boilers()]
        for one in facts:
            self.site.shop.desk.ask(one).look(120)

    def start(self) -> None:
        listening = run.bound(self.settings)
        self.settings = replace(self.settings, port=listening.getsockname()[1])
        self.base = f"http://127.0.0.1:{self.settings.port}"
        self.site = Site(self.settings)
        replying = self.site.reply
        self._hung = threading.Event()

        def reply(method, *more):
            if self.foreign:
                return Reply(self.foreign)
            made = replying(method, *more)
            if self.swallow and method == "POST":
                self.swallowed = True
                self._hung.wait(60)
            return Reply(self.foreign) if self.foreign else made

        self.site.reply = reply
        self._server = run.make_server(self.site, listening)
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()

    def let_go(self) -> None:
        """Reply to whoever still waits."""
        self.swallow = False
        self._hung.set()
        self._hung = threading.Event()

    def stop(self) -> None:
        self._hung.set()
        end(self._server, self._thread)
        self.site.shop.close()


@contextmanager
def running_site(folder):
    site = RunningSite(folder)
    try:
        yield site
    finally:
        site.stop()


class Hand:
    """A phone in the hand: a window of its size, taps, the network, and what is asked of a page."""

    def __init__(self, browser, base: str) -> None:
        self.browser, self.driver, self.base = browser, browser.driver, base

    def hold(self, width: int = 390, height: int = 844, dark: bool = False) -> None:
        send = self.browser.command
        send("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=2, mobile=True)
        send("Emulation.setTouchEmulationEnabled", enabled=True)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        send("Emulation.setEmulatedMedia", media="", features=[scheme])

    def open(self, path: str) -> None:
        self.driver.get(self.base + path)

    def network(self, on: bool) -> None:
        """Whether the phone is in the network."""
        self.browser.command("Network.enable")
        self.browser.command(
            "Network.emulateNetworkConditions", offline=not on, latency=0, downloadThroughput=-1, uploadThroughput=-1
        )

    def find(self, selector: str):
        return self.driver.find_element("css selector", selector)

    def tap(self, selector: str) -> None:
        """A touch in the middle of something, at its place on the glass."""
        place = None
        while place != (place := self.browser.js(MIDDLE, selector)):
            time.sleep(0.05)  # the page may still be moving
        for kind, points in (("touchStart", [{"x": place[0], "y": place[1]}]), ("touchEnd", [])):
            self.browser.command("Input.dispatchTouchEvent", type=kind, touchPoints=points)

    def set_day(self, selector: str, day: date) -> None:
        """Choose a day."""
        self.browser.js(
            "const one = document.querySelector(arguments[0]); one.value = arguments[1];"
            "one.dispatchEvent(new Event('input', {bubbles: true}));",
            selector,
            str(day),
        )

    def wait(self, until, seconds: float = 30) -> None:
        """Wait until something is so."""
        from selenium.webdriver.support.ui import WebDriverWait

        WebDriverWait(self.driver, seconds, poll_frequency=0.1).until(lambda driver: until())

    def wait_for(self, path: str) -> None:
        self.wait(lambda: self.driver.current_url.startswith(self.base + path))

    def wait_until_said(self, words: str) -> None:
        self.wait(lambda: words in self.browser.js("return (document.querySelector('h1') || {}).textContent || ''"))

    def until(self) -> str:
        return self.find("#until").get_attribute("datetime")
