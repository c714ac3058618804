"""Record rules as dated data: who asks for what in which record, by when, kept for how long. Plain Python.

The book always records the superset and deletes nothing by itself; a rule only says what is missing, for whom and
by when. Times are judged in the farm's zone; a day counts to its last minute.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

from farmops.errors import gettext_noop


class Element(StrEnum):
    """One thing a record may have to hold."""

    PRODUCT_NAME = "product_name"
    REGISTRATION_NUMBER = "registration_number"
    ACTIVE_INGREDIENTS = "active_ingredients"
    AMOUNT = "amount"
    RATE = "rate"
    LOCATION = "location"
    AREA = "area"
    CROP_OR_SITE = "crop_or_site"
    DATE = "date"
    START_TIME = "start_time"
    END_TIME = "end_time"
    APPLICATOR = "applicator"
    CERTIFICATE = "certificate"
    SUPERVISED_PERSON = "supervised_person"
    ENTRY_INTERVAL = "entry_interval"
    TARGET = "target"
    METHOD = "method"
    EQUIPMENT = "equipment"
    WIND = "wind"
    TEMPERATURE = "temperature"
    SAFETY_SHEET = "safety_sheet"
    CUSTOMER = "customer"
    OPERATOR_ID = "operator_id"
    SITE_ID = "site_id"
    SUPPLIER = "supplier"


ELEMENT_NAMES = {
    Element.PRODUCT_NAME: gettext_noop("product name"),
    Element.REGISTRATION_NUMBER: gettext_noop("registration number"),
    Element.ACTIVE_INGREDIENTS: gettext_noop("active ingredients"),
    Element.AMOUNT: gettext_noop("total amount"),
    Element.RATE: gettext_noop("rate"),
    Element.LOCATION: gettext_noop("location"),
    Element.AREA: gettext_noop("size of the area"),
    Element.CROP_OR_SITE: gettext_noop("crop or site"),
    Element.DATE: gettext_noop("date"),
    Element.START_TIME: gettext_noop("start time"),
    Element.END_TIME: gettext_noop("end time"),
    Element.APPLICATOR: gettext_noop("applicator’s name"),
    Element.CERTIFICATE: gettext_noop("certificate number"),
    Element.SUPERVISED_PERSON: gettext_noop("name of the supervised person"),
    Element.ENTRY_INTERVAL: gettext_noop("restricted-entry interval"),
    Element.TARGET: gettext_noop("target pest"),
    Element.METHOD: gettext_noop("method of applying"),
    Element.EQUIPMENT: gettext_noop("equipment"),
    Element.WIND: gettext_noop("wind"),
    Element.TEMPERATURE: gettext_noop("temperature"),
    Element.SAFETY_SHEET: gettext_noop("safety data sheet"),
    Element.CUSTOMER: gettext_noop("customer’s name and address"),
    Element.OPERATOR_ID: gettext_noop("operator number"),
    Element.SITE_ID: gettext_noop("site number"),
    Element.SUPPLIER: gettext_noop("supplier"),
}

KEPT_ELSEWHERE = frozenset(
    {Element.SAFETY_SHEET, Element.CUSTOMER, Element.OPERATOR_ID, Element.SITE_ID, Element.SUPPLIER}
)
"""No part of a record: what the book keeps beside it counts, the rest is kept on paper, and the book says so."""


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What the book keeps beside its records, by what it is asked for.

    ``safety_sheets`` and ``supplied`` are product ids: a sheet is on file, every lot names its supplier.
    """

    safety_sheets: frozenset[int] = frozenset()
    supplied: frozenset[int] = frozenset()


NOTHING_KEPT = Kept()


class Products(StrEnum):
    """Which products a rule is about."""

    ALL = "all"
    RESTRICTED = "restricted"


class Applicators(StrEnum):
    """Whose applications a rule is about."""

    ANY = "any"
    PRIVATE = "private"
    COMMERCIAL = "commercial"


class Asks(StrEnum):
    """What the rule asks for."""

    RECORD = "record"
    DISPLAY = "display"  # where workers can read it
    REPORT = "report"  # sent to an office


class DueBy(StrEnum):
    """How the time by which it must be there is counted."""

    NONE = "none"
    HOURS_AFTER_END = "hours_after_end"
    DAYS_AFTER = "days_after"
    DAY_OF_NEXT_MONTH = "day_of_next_month"


class KeepFrom(StrEnum):
    """From when it is kept."""

    APPLICATION = "application"
    ENTRY_END = "entry_end"


class Status(StrEnum):
    """How sure the book is of a rule."""

    CONFIRMED = "confirmed"
    PARTLY = "partly"
    MEMORY = "memory"
    OWN = "own"  # added by the farm


STATUS_NAMES = {
    Status.CONFIRMED: gettext_noop("confirmed in the source"),
    Status.PARTLY: gettext_noop("partly confirmed"),
    Status.MEMORY: gettext_noop("from memory: check before relying on it"),
    Status.OWN: gettext_noop("added by the farm"),
}


@dataclass(frozen=True, kw_only=True)
class RecordRule:
    """One rule of one jurisdiction, with the days it is in force: from ``valid_from``, before ``valid_to``.

    ``due`` is a number of ``due_by``; ``keep_years`` count from ``keep_from``; ``show_days`` is how long a display
    stays up after the entry interval. ``None`` = the source says nothing.
    """

    code: str
    name: str
    jurisdiction: str
    elements: tuple[Element, ...]
    source: str
    status: Status
    asks: Asks = Asks.RECORD
    products: Products = Products.ALL
    applicators: Applicators = Applicators.ANY
    due_by: DueBy = DueBy.NONE
    due: int | None = None
    keep_years: int | None = None
    keep_from: KeepFrom = KeepFrom.APPLICATION
    show_days: int | None = None
    valid_from: date | None = None
    valid_to: date | None = None
    note: str = ""

    def in_force(self, day: date) -> bool:
        """Whether it was or is in force on a day."""
        return (self.valid_from is None or day >= self.valid_from) and (self.valid_to is None or day < self.valid_to)


@dataclass(frozen=True, kw_only=True)
class Sprayed:
    """What decides which rules bind an application. ``None`` = not known, which binds."""

    ended_at: datetime
    zone: str
    restricted: bool | None
    applicators: Applicators | None
    entry_ends_at: datetime | None = None

    @property
    def day(self) -> date:
        """The farm's own date at the end."""
        return self.ended_at.astimezone(ZoneInfo(self.zone)).date()


def binds(rule: RecordRule, sprayed: Sprayed) -> bool:
    """Whether a rule is about this application; doubt binds."""
    if not rule.in_force(sprayed.day) or (rule.products is Products.RESTRICTED and sprayed.restricted is False):
        return False
    return rule.applicators is Applicators.ANY or sprayed.applicators in (None, rule.applicators)


def due_at(rule: RecordRule, sprayed: Sprayed) -> datetime | None:
    """The first instant that is too late; ``None`` when the rule sets no time."""
    if rule.due is None or rule.due_by is DueBy.NONE:
        return None
    if rule.due_by is DueBy.HOURS_AFTER_END:
        return sprayed.ended_at + timedelta(hours=rule.due)
    if rule.due_by is DueBy.DAYS_AFTER:
        return _day_over(sprayed.day + timedelta(days=rule.due), sprayed.zone)
    first = (sprayed.day.replace(day=1) + timedelta(days=32)).replace(day=1)
    return _day_over(first.replace(day=rule.due), sprayed.zone)


def _day_over(day: date, zone: str) -> datetime:
    return datetime.combine(day + timedelta(days=1), time(), tzinfo=ZoneInfo(zone))


def keep_until(rule: RecordRule, sprayed: Sprayed) -> date | None:
    """The day until which it must at least be kept; ``None`` when the rule says nothing."""
    if rule.keep_years is None:
        return None
    start = sprayed.entry_ends_at if rule.keep_from is KeepFrom.ENTRY_END else None
    day = (start or sprayed.ended_at).astimezone(ZoneInfo(sprayed.zone)).date()
    try:
        return day.replace(year=day.year + rule.keep_years)
    except ValueError:  # 29 February
        return date(day.year + rule.keep_years, 3, 1)


def shown_until(rule: RecordRule, sprayed: Sprayed) -> datetime | None:
    """Until when a display stays up; ``None`` for what is not displayed."""
    if rule.show_days is None:
        return None
    return (sprayed.entry_ends_at or sprayed.ended_at) + timedelta(days=rule.show_days)


# ---- a rule of the farm's own, as text -------------------------------------------------


def as_json(rule: RecordRule) -> dict[str, Any]:
    """A rule as it is stored."""
    return {
        name: value.isoformat() if isinstance(value, date) else list(value) if isinstance(value, tuple) else value
        for name in RecordRule.__dataclass_fields__
        if (value := getattr(rule, name)) is not None
    }


def from_json(given: Mapping[str, Any]) -> RecordRule:
    """The same read again."""
    return RecordRule(
        code=given["code"],
        name=given["name"],
        jurisdiction=given["jurisdiction"],
        elements=tuple(Element(e) for e in given["elements"]),
        source=given["source"],
        status=Status(given["status"]),
        asks=Asks(given.get("asks", Asks.RECORD)),
        products=Products(given.get("products", Products.ALL)),
        applicators=Applicators(given.get("applicators", Applicators.ANY)),
        due_by=DueBy(given.get("due_by", DueBy.NONE)),
        due=given.get("due"),
        keep_years=given.get("keep_years"),
        keep_from=KeepFrom(given.get("keep_from", KeepFrom.APPLICATION)),
        show_days=given.get("show_days"),
        valid_from=_day(given.get("valid_from")),
        valid_to=_day(given.get("valid_to")),
        note=given.get("note", ""),
    )


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def by_code(rules: Sequence[RecordRule]) -> dict[str, RecordRule]:
    """Rules by their codes."""
    return {rule.code: rule for rule in rules}
