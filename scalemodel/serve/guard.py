"""What every request has to pass before a page sees it, and what every reply carries; no page decides this itself."""

from __future__ import annotations

import hmac
import re
from collections.abc import Mapping
from dataclasses import dataclass

from scalemodel.serve.web import Asked

FORM_TOKEN = "form_token"
"""The field of every form that holds the device's token."""

SESSION_COOKIE = "scalemodel_session"

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
"""Nothing from elsewhere, and no script or style within a page."""

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), camera=(self)",
    "Cache-Control": "no-store",
}
"""Of every reply, unless it has one of its own. Our own pages are told where a form is from; nobody else is."""

MOST_BODY = 45_000_000
"""Bytes of a request, room for two photographs as large as any may be; more is refused before it is read."""

MOST_FORM = 200_000
"""Bytes of the texts of a form."""

_HOST = re.compile(r"(\[[0-9a-f:]+\]|[a-z0-9._-]+)(?::(\d{1,5}))?", re.ASCII)


@dataclass(frozen=True)
class Refusal:
    """Why a request is refused, and with which status."""

    status: int
    title: str
    words: str


def check_host(host: str, allowed: frozenset[str]) -> Refusal | None:
    """Whether a request was sent to a name of ours: another site's name that leads here is refused (DNS rebinding)."""
    match = _HOST.fullmatch(host.strip().lower())
    if match and match[1] in allowed:
        return None
    return Refusal(421, "Not by this name", "this server is not reached by that name; `--host NAME` allows one")


def check_origin(headers: Mapping[str, str], host: str, scheme: str) -> Refusal | None:
    """Whether what changes something was sent by a page of ours."""
    origin, site = headers.get("Origin"), headers.get("Sec-Fetch-Site")
    if origin is not None:
        ours = origin.lower() == f"{scheme}://{host.lower()}"
    else:
        ours = site in (None, "same-origin")
    if ours:
        return None
    return Refusal(403, "Not from here", "this was sent by a page that is not of this server; nothing was changed")


def check_form(asked: Asked) -> Refusal | None:
    """Whether a form holds the token of the device that sends it."""
    given = asked.form.get(FORM_TOKEN, "")
    if hmac.compare_digest(given.encode("utf-8", "surrogatepass"), asked.device.form_token.encode()):
        return None
    return Refusal(
        403, "An old form", "this form is not of this device's session; open the page anew and send it again"
    )
