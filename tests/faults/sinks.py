"""Where letters and calls arrive: what was taken, and when."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import threading
import time
from dataclasses import dataclass, field
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from tests.reminders.post_office import PostOffice


class Office(PostOffice):
    """A mail server that notes when it took each letter."""

    def __init__(self) -> None:
        super().__init__()
        self.times: list[float] = []
        office = self

        class Noted(list[bytes]):
            def append(self, raw: bytes) -> None:
                office.times.append(time.time())
                super().append(raw)

        self.taken = Noted()


def arrivals_of(office: Office) -> list[tuple[str, float, EmailMessage]]:
    """(Message-ID, when, letter), in the order of arrival."""
    return [(m["Message-ID"], at, m) for m, at in zip(office.letters, office.times, strict=False)]


@dataclass
class HookSink:
    """An HTTP server that takes signed calls. The signature is checked here, not by the product."""

    secret: str = ""
    calls: list[tuple[str, float, dict[str, Any]]] = field(default_factory=list)
    forged: int = 0

    def __post_init__(self) -> None:
        sink = self

        class Talk(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                answer = sink.take(dict(self.headers), body)
                self.send_response(answer)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *args: Any) -> None: ...

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Talk)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_address[1]}/farm"

    def take(self, headers: dict[str, str], body: bytes) -> int:
        head = {name.lower(): value for name, value in headers.items()}
        signed = f"{head['webhook-id']}.{head['webhook-timestamp']}.".encode() + body
        key = base64.b64decode(self.secret.removeprefix("whsec_"))
        right = "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
        fresh = abs(time.time() - int(head["webhook-timestamp"])) < 300
        if not (fresh and right in head["webhook-signature"].split()):
            self.forged += 1
            return 401
        self.calls.append((head["webhook-id"], time.time(), json.loads(body)))
        return 204

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()
