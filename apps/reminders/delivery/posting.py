"""One HTTP POST to an address a manager typed: bounded in time and size, to the outside only, never redirected.

The name is resolved once, every address it has is judged, and the connection goes to the judged address
(the certificate is still checked against the name), so a name that changes its mind in between gains nothing.
"""

from __future__ import annotations

import http.client
import json
import socket
import ssl
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from apps.reminders.rules import hooks


@dataclass(frozen=True, kw_only=True)
class Request:
    """What is posted, to the byte."""

    url: str
    headers: Mapping[str, str]
    body: bytes
    may_stay_inside: bool


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What came of it; ``said`` is for the manager."""

    ok: bool
    gone: bool = False
    said: str = ""


class Forbidden(OSError):
    """The name leads inside."""


def request(
    *, url: str, message_id: str, body: Any, secrets: Sequence[str], timestamp: int, may_stay_inside: bool
) -> Request:
    """The signed request: what is signed is what is sent."""
    raw = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "farm-book",
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": hooks.sign(secrets, message_id=message_id, timestamp=timestamp, body=raw),
    }
    return Request(url=url, headers=headers, body=raw, may_stay_inside=may_stay_inside)


def resolve(host: str, port: int, *, may_stay_inside: bool) -> tuple[int, str]:
    """(family, address) to connect to; ``Forbidden`` when any address of the name is one of the inside."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    addresses = [(family, str(where[0])) for family, _, _, _, where in found]
    inside = [address for _, address in addresses if not hooks.is_outside(address)]
    if inside and not may_stay_inside:
        raise Forbidden(f"leads to {inside[0]}, which is not on the open internet")
    return int(addresses[0][0]), addresses[0][1]


def post(asked: Request) -> Answer:
    """Post and read the status, within ``TIMEOUT_SECONDS`` from beginning to end. Never raises."""
    try:
        status = _post(asked)
    except (OSError, http.client.HTTPException, ValueError) as error:
        return Answer(ok=False, said=_why(error))
    if 200 <= status < 300:
        return Answer(ok=True)
    if 300 <= status < 400:
        return Answer(ok=False, said=f"it answered {status}: a redirection is not followed")
    return Answer(ok=False, gone=status == 410, said=f"it answered {status}")


def _why(error: Exception) -> str:
    if isinstance(error, Forbidden):
        return str(error)
    if isinstance(error, TimeoutError):
        return f"no answer within {hooks.TIMEOUT_SECONDS:g} s"
    return f"{type(error).__name__}: {error}"[:250]


def _post(asked: Request) -> int:
    parts = urlsplit(asked.url)
    secure, host = parts.scheme == "https", str(parts.hostname)
    port = parts.port or (443 if secure else 80)
    family, address = resolve(host, port, may_stay_inside=asked.may_stay_inside)
    with socket.socket(family, socket.SOCK_STREAM) as plain, plain.dup() as guard:  # TLS takes the first one over
        plain.settimeout(hooks.TIMEOUT_SECONDS)
        cut = threading.Event()
        watchdog = threading.Timer(hooks.TIMEOUT_SECONDS, _cut, [guard, cut])
        watchdog.daemon = True
        watchdog.start()
        try:
            plain.connect((address, port))
            if secure:
                with ssl.create_default_context().wrap_socket(plain, server_hostname=host) as line:
                    status = _talk(line, asked)
            else:
                status = _talk(plain, asked)
        except (OSError, http.client.HTTPException):
            if not cut.is_set():
                raise
            status = 0
        finally:
            watchdog.cancel()
    if cut.is_set():  # a line that was cut in the middle may look like a whole one
        raise TimeoutError
    return status


def _cut(guard: socket.socket, cut: threading.Event) -> None:
    """However slowly the other side drips, here it ends."""
    cut.set()
    with suppress(OSError):
        guard.shutdown(socket.SHUT_RDWR)


def _talk(line: socket.socket, asked: Request) -> int:
    """Only the status line and bounded headers are read; whatever body follows is left unread."""
    parts = urlsplit(asked.url)
    talk = http.client.HTTPConnection(str(parts.hostname), parts.port)
    talk.sock = line
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    talk.request("POST", target, body=asked.body, headers={**asked.headers, "Connection": "close"})
    with talk.getresponse() as answer:
        return answer.status
