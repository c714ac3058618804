"""What a packet is: whom it is for, what each of them gets, and what is left out and why. Plain Python.

A packet is the signed spray records of a stretch of farm days as one PDF, one CSV and one JSON. An inspector
gets the whole record. A worker or handler, whoever they named in writing, and those who treat them get
what 40 CFR 170.311(b)(7)-(9) gives them: the application information and where the safety data sheets are.
The paragraphs were read as a definition (40 CFR 170.305) only; their contents are from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from farmops.errors import gettext_noop

PART = 1000
"""Records in one PDF. A longer packet comes in parts, so that making it needs the same memory however long it is."""
SMALL = 50
"""A packet with no more records than this is made at once; a longer one is worked off in the background."""
LIFE = timedelta(days=7)
"""How long the files are kept. A packet can be made again at any time: its records stay."""
LEASE = timedelta(seconds=90)
"""How long a packet is left to the process that makes it, from its last sign of life."""
MAX_TRIES = 3
MANY = 300
"""Findings that are listed in front of the PDF; all of them stand in the CSV and the JSON."""


class Audience(StrEnum):
    """Whom a packet is for."""

    INSPECTOR = "inspector"
    WORKER = "worker"
    REPRESENTATIVE = "representative"
    DOCTOR = "doctor"


AUDIENCE_NAMES = {
    Audience.INSPECTOR: gettext_noop("an inspector, a buyer or the farm itself: the whole records"),
    Audience.WORKER: gettext_noop("a worker or handler"),
    Audience.REPRESENTATIVE: gettext_noop("somebody a worker or handler named in writing"),
    Audience.DOCTOR: gettext_noop("those who treat a worker or handler"),
}
LAW = {
    Audience.INSPECTOR: gettext_noop("The records the law of the farm's place asks for, and whatever else is in them."),
    Audience.WORKER: gettext_noop("40 CFR 170.311(b)(7): a copy or a look within 15 days of asking."),
    Audience.REPRESENTATIVE: gettext_noop(
        "40 CFR 170.311(b)(9): within 15 days of a written request that names the worker, the days and the work, "
        "with the worker's signed and dated naming of the representative."
    ),
    Audience.DOCTOR: gettext_noop("40 CFR 170.311(b)(8): at once, asked for aloud or in writing."),
}
LEFT_OUT = {
    Audience.INSPECTOR: gettext_noop(
        "Left out: birth dates, phone numbers, log-ins and keys. They are not part of a spray record."
    ),
    Audience.WORKER: gettext_noop(
        "Left out: names and certificates of the people who sprayed or signed, amounts, weather, notes and reasons. "
        "The law gives workers what was put out, where, when and for how long entry was restricted."
    ),
    Audience.REPRESENTATIVE: gettext_noop(
        "Left out: names and certificates of the people who sprayed or signed, amounts, weather, notes and reasons. "
        "The law gives workers what was put out, where, when and for how long entry was restricted."
    ),
    Audience.DOCTOR: gettext_noop(
        "Left out: names and certificates of the people who sprayed or signed, weather, notes and reasons. "
        "What was put out, how much, where and when is complete."
    ),
}
LIMITED = frozenset({Audience.WORKER, Audience.REPRESENTATIVE, Audience.DOCTOR})


class PacketState(StrEnum):
    """How far a packet is."""

    WAITING = "waiting"
    MAKING = "making"
    READY = "ready"
    FAILED = "failed"
    EXPIRED = "expired"


STATE_NAMES = {
    PacketState.WAITING: gettext_noop("waiting to be made"),
    PacketState.MAKING: gettext_noop("being made"),
    PacketState.READY: gettext_noop("ready"),
    PacketState.FAILED: gettext_noop("could not be made"),
    PacketState.EXPIRED: gettext_noop("taken away after its time; ask for it again"),
}


@dataclass(frozen=True, kw_only=True)
class Ask:
    """What a packet is asked to hold. Days are farm days on which it was sprayed, both counted; ``None`` = open.

    ``about`` is the worker or patient, ``asked_for_by`` who will get it, ``named_on`` the day the worker named
    the representative in writing.
    """

    audience: Audience
    first_on: date | None = None
    last_on: date | None = None
    block_id: int | None = None
    product_id: int | None = None
    about_id: int | None = None
    about: str = ""
    asked_for_by: str = ""
    named_on: date | None = None
    language: str = "en"

    @property
    def limited(self) -> bool:
        return self.audience in LIMITED

    def as_json(self) -> dict[str, Any]:
        """As it is kept with the packet."""
        return {k: v.isoformat() if isinstance(v, date) else v for k, v in asdict(self).items()}


def read_ask(kept: Mapping[str, Any]) -> Ask:
    """An ask as it was kept."""
    days = {
        name: date.fromisoformat(kept[name]) if kept[name] else None for name in ("first_on", "last_on", "named_on")
    }
    return Ask(**{**kept, **days, "audience": Audience(kept["audience"])})


def faults(ask: Ask, *, today: date) -> dict[str, str]:
    """What is missing from an ask, field by field; empty when it can be made."""
    found: dict[str, str] = {}
    if ask.first_on and ask.last_on and ask.last_on < ask.first_on:
        found["last_on"] = gettext_noop("Must not be before the first day.")
    for name in ("first_on", "last_on"):
        if (day := getattr(ask, name)) is not None and not 1990 <= day.year <= today.year + 1:
            found[name] = gettext_noop("Check the year.")
    if ask.limited:
        if not ask.about.strip():
            found["about"] = gettext_noop("Enter the name of the worker or handler it is about.")
        if ask.first_on is None:
            found["first_on"] = gettext_noop("Enter the first day of the work it is about.")
        if ask.last_on is None:
            found["last_on"] = gettext_noop("Enter the last day of the work it is about.")
    if ask.audience in (Audience.REPRESENTATIVE, Audience.DOCTOR) and not ask.asked_for_by.strip():
        found["asked_for_by"] = gettext_noop("Enter who asks for it, and where they can be reached.")
    if ask.audience is Audience.REPRESENTATIVE:
        if ask.named_on is None:
            found["named_on"] = gettext_noop("Enter the day on which the worker named them in writing.")
        elif ask.named_on > today:
            found["named_on"] = gettext_noop("Must be today or earlier.")
    return found


def own(ask: Ask, person_id: int) -> bool:
    """Whether somebody asks about their own work, which everybody may."""
    return ask.audience is Audience.WORKER and ask.about_id == person_id
