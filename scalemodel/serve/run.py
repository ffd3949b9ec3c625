"""Running the server: the socket, the web server's limits, and a clean end."""

from __future__ import annotations

import errno
import logging
import signal
import socket
import sys
import time
from collections.abc import Callable
from dataclasses import replace

from scalemodel.errors import BadValueError
from scalemodel.serve import guard
from scalemodel.serve.app import Site, make_app
from scalemodel.serve.settings import Settings

THREADS = 24
"""Requests that may wait at once; a page that waits for an answer holds one."""

MOST_CONNECTIONS = 200
IDLE_SECONDS = 60
"""A connection on which nothing happens for so long is closed [s]."""

SLOW_SECONDS = 60.0
"""So is one whose request is not there whole after so long, however busy it is [s]."""


def serve(settings: Settings, say: Callable[[str], None]) -> None:
    """Serve until Ctrl-C or SIGTERM; the first thing said is the address that pairs a device.

    Raises
    ------
    BadValueError
        If the port is in use or may not be used.
    LogbookError
        If there is no logbook.
    """
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="%(name)s: %(message)s")
    for number in (signal.SIGINT, signal.SIGTERM):  # also where whoever started it had the first ignored
        signal.signal(number, _stop)
    try:
        with bound(settings) as listening:
            settings = replace(settings, port=listening.getsockname()[1])
            site = Site(settings)
            try:
                with site.shop.reading():
                    pass  # a logbook that cannot be read is said before anything else
                server = make_server(site, listening)
                address = site.address_for_people("/pair/" + site.pairing.offer())
                say(f"address: {address}")
                show_code(address)
                site.shop.rows(ahead=True)
                server.run()
                server.close()
            finally:
                site.shop.close()
    except KeyboardInterrupt:
        pass


def _stop(number: int, frame: object) -> None:
    """SIGTERM ends as Ctrl-C does: by an interrupt."""
    raise KeyboardInterrupt


def bound(settings: Settings) -> socket.socket:
    """The socket that listens; BadValueError if the port is taken."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # there it would let two servers share the port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((settings.bound_to, settings.port))
    except OSError as error:
        listening.close()
        why = "is in use" if error.errno == errno.EADDRINUSE else (error.strerror or str(error)).lower()
        raise BadValueError("--port", settings.port, f"a port that is free; this one: {why}") from error
    return listening


def make_server(site: Site, listening: socket.socket):
    """The web server around the application, with its limits."""
    from waitress.channel import HTTPChannel
    from waitress.server import create_server

    class Channel(HTTPChannel):
        """A connection that knows since when its request is on its way."""

        begun: float | None = None

        def received(self, data: bytes) -> bool:
            taken = super().received(data)
            if self.request is None:
                self.begun = None
            elif self.begun is None:
                self.begun = time.time()
            return taken

    proxied = {}
    if site.settings.behind_proxy:
        proxied = {
            "trusted_proxy": "127.0.0.1",
            "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto", "x-forwarded-host"},
        }
    server = create_server(
        make_app(site),
        sockets=[listening],
        threads=THREADS,
        connection_limit=MOST_CONNECTIONS,
        channel_timeout=IDLE_SECONDS,
        cleanup_interval=5,
        max_request_header_size=16_384,
        max_request_body_size=guard.MOST_BODY,
        clear_untrusted_proxy_headers=True,
        log_socket_errors=False,
        ident=None,
        **proxied,
    )
    server.channel_class = Channel
    tidy = server.maintenance

    def maintenance(now: float) -> None:
        tidy(now)
        for channel in list(server.active_channels.values()):
            if channel.begun is not None and now - channel.begun > SLOW_SECONDS:
                channel.will_close = True

    server.maintenance = maintenance
    return server


def show_code(address: str) -> None:
    """Show an address as a code to scan, on a terminal."""
    if not sys.stdout.isatty():
        return
    import segno

    segno.make(address, error="m", micro=False).terminal(compact=True)
    sys.stdout.flush()
