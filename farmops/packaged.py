"""Static files that come out of installed packages, so that no third-party script is committed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import plotly
from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage, Storage

_FOLDER = Path(plotly.__file__).parent / "package_data"
_FILES = {"packaged/plotly.min.js": _FOLDER / "plotly.min.js"}


class _Folder(FileSystemStorage):
    prefix = "packaged"


class PackagedScripts(BaseFinder):
    """Offers exactly the files named in ``_FILES`` to ``collectstatic`` and to development."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.storage = _Folder(location=str(_FOLDER))

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> str | list[str]:
        found = _FILES.get(path)
        if found is None:
            return []
        return [str(found)] if find_all else str(found)

    def list(self, ignore_patterns: list[str] | None) -> Iterator[tuple[str, Storage]]:
        for path in _FILES:
            yield Path(path).name, self.storage

    def check(self, **kwargs: Any) -> list[Any]:
        return []
