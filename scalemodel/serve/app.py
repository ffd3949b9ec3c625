"""The web application: every request passes the guard, then goes to the one function of its page."""

from __future__ import annotations

import errno
import logging
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING
from urllib.parse import quote, unquote

from scalemodel.errors import FormerNameError, ScalemodelError
from scalemodel.logbook.photographs import LARGEST_GIVEN
from scalemodel.serve import boiler, entries, guard, listing, pages, plans, visit
from scalemodel.serve.feed import FEED, Feed, key_in, path_of
from scalemodel.serve.guard import Refusal
from scalemodel.serve.pairing import SESSION_SECONDS, Pairing
from scalemodel.serve.settings import Settings
from scalemodel.serve.shop import Shop
from scalemodel.serve.tries import TooManyTriesError
from scalemodel.serve.web import Asked, Device, Reply, address, as_data, go_to, status_of

if TYPE_CHECKING:
    from flask import Flask

PHOTO = "photo"
"""The field of a form that holds photographs."""

AS_DATA = "application/json"
"""What the script of a form accepts, beside the pages that it shows as they are."""

INSPECTOR_COOKIE = "inspector"
LOG = logging.getLogger("scalemodel.serve")

NOT_PAIRED = Refusal(
    401,
    "This device is not paired",
    "Open the address that the server's first line shows, or scan the code below it: it pairs one device, once. If "
    "this device was paired just now, go to the list.",
)
TOO_MANY = Refusal(429, "Too many tries", "wait a minute, then open the right address once")
NO_PAGE = Refusal(404, "Not found", "there is no such page")
READ_ONLY = Refusal(403, "Only to be read", "this server was started with --read-only; nothing can be recorded here")

FAULT = Refusal(500, "A fault of the program", "nothing more was recorded than was said")
NO_ROOM = Refusal(507, "No room", "the disk of the server is full; nothing was recorded: make room, then send it again")

PAGES = {
    "/": listing.show,
    "/ready": listing.ready,
    "/alive": listing.alive,
    "/devices": listing.devices,
    "/boiler": boiler.show,
    "/saved": boiler.saved,
    "/photo": boiler.photo,
    "/visit": visit.show,
    "/plan": plans.plan,
    "/guide": plans.guide,
    "/report": plans.report,
    "/history": entries.history,
    "/entry": entries.show,
}
"""What shows a page, by its address; none of them writes."""

WRITERS = {
    "/look": boiler.record,
    "/widen": boiler.widen,
    "/visit": visit.record,
    "/amend": entries.amend,
    "/strike": entries.strike,
}
"""What records, by its address; none of them is there under --read-only."""

DEVICE_FORMS = {
    "/devices/offer": "offer",
    "/devices/leave": "leave",
    "/devices/others": "others",
    "/devices/calendar": "calendar",
    "/devices/no-calendar": "no-calendar",
}


def told_to_script(reply: Reply) -> Reply:
    """A reply that sends the device on, as the script is told it: where what it sent now stands."""
    if reply.status != 303:
        return reply
    return replace(as_data({"recorded": reply.headers["Location"]}), keep=reply.keep)


class Site:
    """The pages over one logbook, and the devices that may see them."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings.check()
        self.shop = Shop(settings)
        file = None if settings.folder is None else settings.folder / "devices.json"
        self.pairing = Pairing(file)
        self.feed = Feed(settings.folder)
        self.names = settings.names()

    # ---- one request

    def reply(self, method: str, path: str, headers: Mapping[str, str], sent: Sent) -> Reply:
        """What is replied to a request."""
        refusal = guard.check_host(sent.host, self.names)
        if refusal is None and method == "POST":
            refusal = guard.check_origin(headers, sent.host, sent.scheme)
        if refusal is not None:
            return pages.refused(refusal)
        if path in pages.FIXED:
            text, sort = pages.asset(path)
            return Reply(text, sort=sort, headers={"Cache-Control": "public, max-age=31536000, immutable"})
        if path.startswith("/pair/"):
            return self.pair(path.removeprefix("/pair/"), headers, sent)
        if path.startswith(FEED):
            return self.give_calendar(method, path)
        device = self.device(sent)
        if device is None:
            return pages.refused(NOT_PAIRED)
        form, photos = sent.read() if method == "POST" else ({}, ())
        reply = self.to_page(method, Asked(path, sent.words, form, device, photos))
        return told_to_script(reply) if AS_DATA in headers.get("Accept", "") else reply

    def device(self, sent: Sent) -> Device | None:
        """The paired device that sent something; None if it is not paired."""
        device = self.pairing.device(sent.cookies.get(guard.SESSION_COOKIE, ""))
        if device is None and not self.settings.pairing:
            device = Device("", "unpaired")
        if device is None:
            return None
        return Device(device.mark, device.form_token, unquote(sent.cookies.get(INSPECTOR_COOKIE, ""))[:80])

    def pair(self, token: str, headers: Mapping[str, str], sent: Sent) -> Reply:
        """Pair a device, unless its browser only looks ahead."""
        if "prefetch" in headers.get("Sec-Purpose", "") + headers.get("Purpose", ""):
            return Reply(status=204)
        try:
            session = self.pairing.redeem(token, sent.cookies.get(guard.SESSION_COOKIE, ""))
        except TooManyTriesError:
            return pages.refused(TOO_MANY)
        if session is None:
            words = "this address has paired a device already, is too old, or was never given; ask for a new one"
            return pages.refused(Refusal(403, "No longer good", words))
        reply = go_to("/")
        reply.keep[guard.SESSION_COOKIE] = session
        return reply

    def give_calendar(self, method: str, path: str) -> Reply:
        """The calendar, to whoever has its key; whatever else is sent with it counts for nothing."""
        key = key_in(path)
        try:
            right = key is not None and method in ("GET", "HEAD") and self.feed.takes(key)
        except TooManyTriesError:
            return pages.refused(TOO_MANY)
        return self.feed.give(self.shop) if right else pages.refused(NO_PAGE)

    def to_page(self, method: str, asked: Asked) -> Reply:
        """The reply of the page that a paired device asked for."""
        read_only = self.settings.read_only
        try:
            if method in ("GET", "HEAD"):
                reply = PAGES[asked.path](self.shop, asked) if asked.path in PAGES else None
            else:
                reply = self.written(asked)
        except ScalemodelError as error:
            if isinstance(error, FormerNameError) and error.kind == "boiler" and method != "POST":
                return go_to(asked.path, **{**asked.words, "boiler": error.called})
            return pages.failed(error, status_of(error), asked, read_only)
        return pages.refused(NO_PAGE, asked, read_only) if reply is None else reply

    def written(self, asked: Asked) -> Reply | None:
        """The reply to a form; None where nothing is at its address."""
        refusal = guard.check_form(asked)
        if refusal is None and asked.path in DEVICE_FORMS:
            return self.change_devices(DEVICE_FORMS[asked.path], asked)
        if refusal is None and self.settings.read_only:
            refusal = READ_ONLY
        if refusal is not None:
            return pages.refused(refusal, asked, self.settings.read_only)
        return WRITERS[asked.path](self.shop, asked) if asked.path in WRITERS else None

    def change_devices(self, what: str, asked: Asked) -> Reply:
        """Offer another device a pairing, or unpair; make an address of the calendar, or void it."""
        mark = asked.device.mark
        if what == "offer":
            return listing.offered(self.shop, asked, self.address_for_people("/pair/" + self.pairing.offer()))
        if what == "calendar":
            return listing.devices(self.shop, asked, calendar=self.address_for_people(path_of(self.feed.make_key())))
        if what == "no-calendar":
            self.feed.void()
            return go_to("/devices")
        if what == "leave":
            self.pairing.forget(mark)
            return pages.refused(NOT_PAIRED)
        self.pairing.forget_others(mark)
        return go_to("/devices")

    def address_for_people(self, path: str) -> str:
        """A whole address, as people open it on another device."""
        scheme = "https" if self.settings.behind_proxy else "http"
        port = "" if self.settings.behind_proxy and self.settings.hosts else f":{self.settings.port}"
        return f"{scheme}://{self.settings.called()}{port}{address(path)}"


def is_full(error: Exception) -> bool:
    """Whether a fault is that no more can be written, such as a photograph on its way in."""
    return isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT)


class Sent:
    """What a request brought, as plain values; its body is read only for whoever may send one."""

    def __init__(self, request) -> None:
        self._request = request
        self.host, self.scheme = request.host, request.scheme
        self.words, self.cookies = request.args.to_dict(), dict(request.cookies)

    def read(self) -> tuple[dict[str, str], tuple[bytes, ...]]:
        """The texts of the form, and its photographs; RequestEntityTooLarge for longer texts than any form has."""
        from werkzeug.exceptions import RequestEntityTooLarge

        request, photos = self._request, []
        if request.mimetype != "multipart/form-data" and (request.content_length or 0) > guard.MOST_FORM:
            raise RequestEntityTooLarge
        for name, file in request.files.items(multi=True):
            with file.stream:
                data = file.read(LARGEST_GIVEN + 1) if name == PHOTO else b""
            photos += [data] if data else []
        return request.form.to_dict(), tuple(photos)


def make_app(site: Site) -> Flask:
    """The application that a web server runs."""
    from flask import Flask, Response, request
    from werkzeug.exceptions import HTTPException

    app = Flask("scalemodel.serve", static_folder=None, template_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=guard.MOST_BODY, MAX_FORM_MEMORY_SIZE=guard.MOST_FORM)

    def answer(path: str = "") -> Response:
        try:
            reply = site.reply(request.method, f"/{path}", request.headers, Sent(request))
        except HTTPException as error:
            reply = pages.refused(Refusal(error.code or 400, error.name, "nothing was recorded"))
        except Exception as error:
            reply = pages.refused(NO_ROOM if is_full(error) else FAULT)
            if not is_full(error):
                LOG.exception("a page failed")
        response = Response(reply.body, reply.status, content_type=reply.sort)
        for name, value in {**guard.HEADERS, **reply.headers}.items():
            response.headers[name] = value
        for name, value in reply.keep.items():
            response.set_cookie(
                name,
                quote(value),
                max_age=int(SESSION_SECONDS),
                secure=site.settings.behind_proxy,
                httponly=True,
                samesite="Strict",
            )
        return response

    for rule in ("/", "/<path:path>"):
        app.add_url_rule(rule, endpoint=f"page{rule}", view_func=answer, methods=["GET", "POST"])
    return app
