"""A mail server for tests: takes letters, or stops answering at a chosen command (RFC 5321 in small)."""

from __future__ import annotations

import socketserver
import threading
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from typing import Any


class _Talk(socketserver.StreamRequestHandler):
    server: PostOffice

    def say(self, line: str) -> None:
        self.wfile.write(f"{line}\r\n".encode())

    def hear(self) -> str:
        try:
            return self.rfile.readline().decode(errors="replace").strip()
        except ConnectionError:  # whoever was talking was killed
            return ""

    def handle(self) -> None:
        self.say("220 tests")
        while line := self.hear():
            command = line.split()[0].upper()
            if command == self.server.stuck_at:
                self.server.reached.set()
                self.server.closing.wait(60)
                return
            if command == "DATA":
                self.take()
            elif command == "QUIT":
                self.say("221 bye")
                return
            else:
                self.say("250 fine")

    def take(self) -> None:
        self.say("354 go on")
        lines: list[bytes] = []
        while (line := self.rfile.readline()) not in {b".\r\n", b""}:
            lines.append(line.removeprefix(b".") if line.startswith(b"..") else line)
        self.server.taken.append(b"".join(lines))
        self.say("250 taken")


class PostOffice(socketserver.ThreadingTCPServer):
    """Use as a context: ``port`` to mail to, ``letters`` taken so far, ``stuck_at = "DATA"`` to stop answering."""

    allow_reuse_address = True
    daemon_threads = True
    block_on_close = False

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Talk)
        self.taken: list[bytes] = []
        self.stuck_at = ""
        self.reached, self.closing = threading.Event(), threading.Event()

    @property
    def port(self) -> int:
        return int(self.server_address[1])

    @property
    def letters(self) -> list[EmailMessage]:
        return [message_from_bytes(raw, policy=default) for raw in list(self.taken)]  # type: ignore[misc]

    def __enter__(self) -> PostOffice:
        threading.Thread(target=self.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *args: Any) -> None:
        self.closing.set()
        self.shutdown()
        self.server_close()
