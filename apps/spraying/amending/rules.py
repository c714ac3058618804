"""What a correction changed, and what the last signature goes on saying while a job is open again. Plain Python."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

from apps.products.rules import Rate
from farmops.errors import gettext_noop
from farmops.units import CONTEXT, Quantity, show, unit_name
from farmops.wording import stamp


class Asked(StrEnum):
    """Where a manager's request for a correction stands."""

    OPEN = "open"
    DONE = "done"
    DECLINED = "declined"


ASKED_NAMES = {
    Asked.OPEN: gettext_noop("waits for the applicator"),
    Asked.DONE: gettext_noop("corrected"),
    Asked.DECLINED: gettext_noop("declined"),
}


class What(StrEnum):
    """What may differ between two editions of a record."""

    MEANING = "meaning"
    APPLICATOR = "applicator"
    SUPERVISOR = "supervisor"
    STARTED_AT = "started_at"
    ENDED_AT = "ended_at"
    LOADS = "loads"
    TREATED = "treated"
    PART = "part"
    AMOUNT = "amount"
    LABEL = "label"
    START_READINGS = "start_readings"
    END_READINGS = "end_readings"
    REMARK = "remark"
    ENTRY = "entry"
    HARVEST = "harvest"


WHAT_NAMES = {
    What.MEANING: gettext_noop("What the record says"),
    What.APPLICATOR: gettext_noop("Applied by"),
    What.SUPERVISOR: gettext_noop("Supervised by"),
    What.STARTED_AT: gettext_noop("Start"),
    What.ENDED_AT: gettext_noop("End"),
    What.LOADS: gettext_noop("Loads"),
    What.TREATED: gettext_noop("Area treated"),
    What.PART: gettext_noop("Part treated"),
    What.AMOUNT: gettext_noop("Amount used"),
    What.LABEL: gettext_noop("Label version"),
    What.START_READINGS: gettext_noop("Weather at the start"),
    What.END_READINGS: gettext_noop("Weather at the end"),
    What.REMARK: gettext_noop("Why the rate differs from the plan"),
    What.ENTRY: gettext_noop("Closed for entry before"),
    What.HARVEST: gettext_noop("Earliest picking"),
}

UNKNOWN = gettext_noop("not known")
NOTHING = "–"
SPRAYED = gettext_noop("sprayed")
NOT_SPRAYED = gettext_noop("nothing was applied")


@dataclass(frozen=True, kw_only=True)
class Change:
    """One difference: ``subject`` is the block or product, ``before`` and ``after`` are text to read."""

    what: What
    subject: str
    before: str
    after: str

    def as_json(self) -> dict[str, str]:
        return {"what": self.what.value, "subject": self.subject, "before": self.before, "after": self.after}


def changes_between(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Change]:
    """Every difference between the contents of two editions, in the order a record is read.

    Either may come from a record (plain JSON) or from the book (decimals and instants): both are read alike.
    Times are worded in the farm's zone.
    """
    before, after = _lines(old), _lines(new)
    return [
        Change(what=what, subject=subject, before=before.get((what, subject), NOTHING), after=said)
        for (what, subject), said in after.items()
        if before.get((what, subject), NOTHING) != said
    ] + [
        Change(what=what, subject=subject, before=said, after=NOTHING)
        for (what, subject), said in before.items()
        if (what, subject) not in after and said != NOTHING
    ]


def _lines(content: Mapping[str, Any]) -> dict[tuple[What, str], str]:
    """(what, block or product) -> as it is read."""
    zone = str(content["farm"]["time_zone"])
    applied = content["meaning"] == "applied"
    found = {(What.MEANING, ""): SPRAYED if applied else NOT_SPRAYED}
    if not applied:
        return found
    for what, who in ((What.APPLICATOR, content["applicator"]), (What.SUPERVISOR, content["supervisor"])):
        found[what, ""] = str(who["name"]) if who else NOTHING
    found[What.STARTED_AT, ""] = stamp(_at(content["started_at"]), zone)
    found[What.ENDED_AT, ""] = stamp(_at(content["ended_at"]), zone)
    found[What.LOADS, ""] = show(_dec(content["loads"]), 2)
    for block in content["blocks"]:
        found |= _block(block, zone)
    for product in content["products"]:
        name = str(product["name"])
        amount = _dec(product["amount"])
        found[What.AMOUNT, name] = str(Quantity(amount, product["unit"])) if amount else NOTHING
        label = product["label"]
        found[What.LABEL, name] = str(label["version"]) if label else NOTHING
    for what, when in ((What.START_READINGS, "start"), (What.END_READINGS, "end")):
        found[what, ""] = _readings(content["readings"][when])
    found[What.REMARK, ""] = str(content["deviation_reason"] or NOTHING)
    return found


def _block(block: Mapping[str, Any], zone: str) -> dict[tuple[What, str], str]:
    name = f"{block['code']} {block['name']}".strip()
    acres = _dec(block["treated_acres"])
    found = {
        (What.TREATED, name): f"{show(acres, 2)} {unit_name('ac')}" if acres else NOTHING,
        (What.PART, name): str(block["part_note"] or NOTHING),
    }
    for what, kind in ((What.ENTRY, "entry"), (What.HARVEST, "harvest")):
        found[what, name] = _latest([c for c in block["closures"] if c["kind"] == kind], zone)
    return found


def _latest(closures: Sequence[Mapping[str, Any]], zone: str) -> str:
    if not closures:
        return NOTHING
    if any(c["ends_at"] is None for c in closures):
        return UNKNOWN
    return stamp(max(_at(c["ends_at"]) for c in closures), zone)


def _readings(readings: Mapping[str, Any]) -> str:
    read = {name: value for name, value in readings.items() if name != "taken_at"}
    units = {"wind_mph": "mph", "gust_mph": "mph max", "temperature_f": "°F", "humidity_percent": "% RH"}
    parts = [f"{read[name]} {unit}" for name, unit in units.items() if name in read]
    return ", ".join([*parts, *([read["wind_from"].upper()] if read.get("wind_from") else [])]) or NOTHING


def _at(value: Any) -> datetime:
    return value if isinstance(value, datetime) else datetime.fromisoformat(str(value))


def _dec(value: Any) -> Decimal:
    return value if isinstance(value, Decimal) else Decimal(str(value if value is not None else 0))


# ---- what the last signature goes on saying --------------------------------------------


def signed_facts(seq: int, content: Mapping[str, Any]) -> dict[str, Any]:
    """What a job that is open again keeps of its last signature, as JSON: nothing that was signed stops counting."""
    if content["meaning"] != "applied":
        return {"record": seq, "started_at": None, "ended_at": None, "blocks": {}, "products": {}}
    return {
        "record": seq,
        "started_at": str(content["started_at"]),
        "ended_at": str(content["ended_at"]),
        "blocks": {str(b["block_id"]): str(b["treated_acres"]) for b in content["blocks"]},
        "products": {str(p["product_id"]): [str(p["amount"]), p["unit"]] for p in content["products"]},
    }


def signed_acres(facts: Mapping[str, Any] | None, block_id: int) -> Decimal:
    """Acres of a block that the last signature says were treated; 0 where it says nothing."""
    return _dec((facts or {}).get("blocks", {}).get(str(block_id)))


def signed_end(facts: Mapping[str, Any] | None) -> datetime | None:
    """When the last signature says that spraying ended; ``None`` where it says nothing."""
    said = (facts or {}).get("ended_at")
    return datetime.fromisoformat(said) if said else None


def signed_rate(facts: Mapping[str, Any] | None, product_id: int) -> Rate | None:
    """The rate the last signature stands for; ``None`` where it says nothing or none was used."""
    used = (facts or {}).get("products", {}).get(str(product_id))
    acres = sum((_dec(a) for a in (facts or {}).get("blocks", {}).values()), start=Decimal(0))
    if used is None or not _dec(used[0]) or not acres:
        return None
    return Rate(quantity=Quantity(CONTEXT.divide(_dec(used[0]), acres), used[1]))


def later_ends(old: Iterable[Any], new: Iterable[Any]) -> list[Any]:
    """The new closures that no old one of the same kind and work holds at least as long."""
    held = list(old)
    return [n for n in new if not any(_holds(o, n) for o in held)]


def _holds(old: Any, new: Any) -> bool:
    same = old.kind == new.kind and old.reason_code == new.reason_code and set(old.activities) == set(new.activities)
    if old.block_id != new.block_id or not same or getattr(old, "part", None) not in (None, getattr(new, "part", None)):
        return False
    return old.ends_at is None or (new.ends_at is not None and old.ends_at >= new.ends_at)
