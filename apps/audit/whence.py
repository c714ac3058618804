"""From where a change comes: the door, the address on the network, the key. Set by the middleware, read by ``record``.

A context variable, because services know no request: what runs outside of one (sweep, command line) has none.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from django.conf import settings
from django.http import HttpRequest, HttpResponse

LONGEST = 200


@dataclass(frozen=True, kw_only=True)
class Whence:
    """``door``: method and path. ``address``: IP, empty if unknown. ``key``: prefix of a key for programs."""

    door: str = ""
    address: str = ""
    key: str = ""


NOWHERE = Whence()
_current: ContextVar[Whence] = ContextVar("whence", default=NOWHERE)


def current() -> Whence:
    """From where this change comes; nothing outside of a request."""
    return _current.get()


@contextmanager
def coming_from(whence: Whence) -> Iterator[None]:
    """Everything recorded inside says it came from there."""
    token = _current.set(whence)
    try:
        yield
    finally:
        _current.reset(token)


def whence_of(request: HttpRequest) -> Whence:
    """What a request tells of itself; nothing that is secret.

    Behind a proxy (``BEHIND_TLS``) the last address in ``X-Forwarded-For`` is the one the proxy saw; what a client
    wrote before it is not believed. Without one the header is not read at all.
    """
    return Whence(door=_door(request), address=_address(request.META), key=_key(request))


def _door(request: HttpRequest) -> str:
    """Method and path; the code of an invitation is left out of its path."""
    path = request.path if not request.path.startswith("/join/") else "/join/"
    return f"{request.method} {path}"[:LONGEST]


def _address(meta: dict[str, str]) -> str:
    found = meta.get("REMOTE_ADDR", "")
    if settings.BEHIND_TLS and (forwarded := meta.get("HTTP_X_FORWARDED_FOR", "")):
        found = forwarded.rsplit(",", 1)[-1].strip()
    try:
        return str(ipaddress.ip_address(found))
    except ValueError:
        return ""


def _key(request: HttpRequest) -> str:
    """The open half of a key. Only where the key itself is proven: below a farm's API."""
    if not request.path.startswith("/api/v1/farms/"):
        return ""
    scheme, _, bearer = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
    prefix = bearer.strip().partition(".")[0]
    return prefix[:12] if scheme.lower() == "bearer" and prefix.isalnum() else ""


class WhenceMiddleware:
    """Lets every change made during a request say where it came from."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with coming_from(whence_of(request)):
            return self.get_response(request)
