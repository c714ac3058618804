"""Sets PDFs in processes of their own, two at a time, so that what the typesetter remembers never adds up.

The typesetter keeps what it has laid out for the next time; over the parts of a long packet that would grow to
gigabytes. A process that ends gives all of it back. Small sheets are set here and now.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from django.core.serializers.json import DjangoJSONEncoder

from farmops.pdf import ROOT, compile_pdf

TEMPLATE = Path(__file__).resolve().parent.parent / "typst" / "packet.typ"
AT_ONCE = 2
SECONDS = 120
"""Longer than any part takes; a typesetter that hangs is stopped."""


class PressFault(RuntimeError):
    """A part could not be set."""


class Press:
    """Takes sheets, and is done when every one of them lies in ``folder``."""

    def __init__(self, folder: Path, language: str, made_at: datetime) -> None:
        self.folder, self.language, self.made_at = folder, language, made_at
        self._running: list[tuple[Path, subprocess.Popen[bytes]]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        for _, process in self._running:
            process.kill()
            process.wait()
        self._running.clear()

    def here(self, name: str, data: Mapping[str, Any], title: str) -> None:
        """Set a small sheet in this process."""
        (self.folder / name).write_bytes(compile_pdf(TEMPLATE, data, title, self.language, made_at=self.made_at))

    def apart(self, name: str, data: Mapping[str, Any], title: str) -> None:
        """Set a sheet in a process of its own; waits while ``AT_ONCE`` of them run."""
        while len(self._running) >= AT_ONCE:
            self._first_done()
        order = self.folder / f"{name}.order"
        told = {"data": data, "title": title, "language": self.language, "made_at": self.made_at.isoformat()}
        order.write_text(json.dumps(told, cls=DjangoJSONEncoder, ensure_ascii=False), encoding="utf-8")
        command = [sys.executable, "-m", __name__, str(order), str(self.folder / name)]
        process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE)
        self._running.append((order, process))

    def finish(self) -> None:
        """Wait for everything that is still being set."""
        while self._running:
            self._first_done()

    def _first_done(self) -> None:
        order, process = self._running[0]
        _, said = process.communicate(timeout=SECONDS)
        self._running.pop(0)
        if process.returncode != 0:
            raise PressFault(said.decode(errors="replace")[-300:])
        order.unlink()


def main(order: str, out: str) -> None:
    """One sheet: the order as ``Press.apart`` wrote it, and where the PDF goes."""
    told = json.loads(Path(order).read_text(encoding="utf-8"))
    made_at = datetime.fromisoformat(told["made_at"])
    Path(out).write_bytes(compile_pdf(TEMPLATE, told["data"], told["title"], told["language"], made_at=made_at))


if __name__ == "__main__":
    main(*sys.argv[1:3])
