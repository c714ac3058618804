"""The apps' ``due(farm, now)`` functions, found by the dotted paths of ``settings.REMINDER_SOURCES``.

Contract of ``due(farm, now) -> Sequence[Due]``: everything that is worth knowing **now**, each time. What a
source no longer gives is withdrawn, so it gives a thing for as long as its reason lasts (and, for a
thing that only happened, for a day).

Beside it may stand ``next_due(farm, now) -> datetime | None``: the earliest instant after ``now`` at which time
alone, without a change in the book, may change the answer of ``due``; None when it never will. Too early costs
one look; too late is a reminder that is late. A source without it is asked in every sweep.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning
from django.urls import get_resolver

from apps.people.models import Farm
from apps.reminders.rules import Due

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Source:
    """One app's answer to "what is due?", and to "when must I be asked again?"."""

    path: str
    due: Callable[[Farm, datetime], Sequence[Due]]
    next_due: Callable[[Farm, datetime], datetime | None] | None


def know_kinds() -> None:
    """Have every app say what its kinds of notices weigh, also in a process that serves no pages.

    Kinds are registered where they are told: all of that hangs on the doors, and the sources on those of reminders.
    """
    try:
        get_resolver().url_patterns  # noqa: B018
    except Exception:  # a broken door must not stop the reminders
        log.exception("not every app could say what its notices weigh")


def exists(path: str) -> bool:
    """Whether the module in ``path`` is there at all. A module that is there and breaks is a fault."""
    module = path.rpartition(".")[0]
    try:
        return find_spec(module) is not None
    except ModuleNotFoundError:  # the package above it is not there
        return False


def load(path: str) -> Source:
    """The functions behind ``path``; import errors and a missing function are raised as they are."""
    module_path, _, name = path.rpartition(".")
    module = import_module(module_path)
    return Source(path=path, due=getattr(module, name), next_due=getattr(module, f"next_{name}", None))


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


def fingerprint(found: dict[str, Source]) -> str:
    """Changes when other sources are asked than before: then every farm must be looked at again."""
    named = (f"{path} {source.next_due is not None}" for path, source in sorted(found.items()))
    return hashlib.sha256("\n".join(named).encode()).hexdigest()


def check_sources(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Deployment check: every listed source can be asked."""
    _, broken = load_all()
    said: list[CheckMessage] = [
        Error(f"REMINDER_SOURCES: {path} cannot be loaded: {error!r}", id="reminders.E001")
        for path, error in broken.items()
    ]
    absent = [path for path in settings.REMINDER_SOURCES if not exists(path)]
    return said + [Warning(f"REMINDER_SOURCES: there is no {path}", id="reminders.W001") for path in absent]
