"""The apps' ``due(farm, now)`` functions, found by the dotted paths of ``settings.REMINDER_SOURCES``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning

from apps.people.models import Farm
from apps.reminders.rules import Due

Source = Callable[[Farm, datetime], Sequence[Due]]


def exists(path: str) -> bool:
    """Whether the module in ``path`` is there at all. A module that is there and breaks is a fault."""
    module = path.rpartition(".")[0]
    try:
        return find_spec(module) is not None
    except ModuleNotFoundError:  # the package above it is not there
        return False


def load(path: str) -> Source:
    """The function behind ``path``; import errors and a missing function are raised as they are."""
    module, _, name = path.rpartition(".")
    source: Source = getattr(import_module(module), name)
    return source


def load_all() -> tuple[dict[str, Source], dict[str, Exception]]:
    """Every source by its path, and what went wrong with those that cannot be loaded.

    An app that is not installed is passed over; ``manage.py check --deploy`` names it.
    """
    found: dict[str, Source] = {}
    broken: dict[str, Exception] = {}
    for path in filter(exists, settings.REMINDER_SOURCES):
        try:
            found[path] = load(path)
        except Exception as error:  # one app's broken module must not silence the others
            broken[path] = error
    return found, broken


def check_sources(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Deployment check: every listed source can be asked."""
    _, broken = load_all()
    said: list[CheckMessage] = [
        Error(f"REMINDER_SOURCES: {path} cannot be loaded: {error!r}", id="reminders.E001")
        for path, error in broken.items()
    ]
    absent = [path for path in settings.REMINDER_SOURCES if not exists(path)]
    return said + [Warning(f"REMINDER_SOURCES: there is no {path}", id="reminders.W001") for path in absent]
