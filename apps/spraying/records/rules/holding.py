"""What a record holds, read from its signed content, and what decides which rules bind it. Plain Python."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from apps.spraying.records.rules.facts import KEPT_ELSEWHERE, Applicators, Element, Kept, Sprayed


def sprayed_of(content: Mapping[str, Any]) -> Sprayed:
    """What decides which rules bind, from the content of a record that says what was applied."""
    labels = [p["label"]["body"] if p["label"] else None for p in content["products"]]
    known = [None if body is None else bool(body.get("restricted_use")) for body in labels]
    ends = [c["ends_at"] for b in content["blocks"] for c in b["closures"] if c["kind"] == "entry"]
    return Sprayed(
        ended_at=_at(content["ended_at"]),
        zone=str(content["farm"]["time_zone"]),
        restricted=True if True in known else None if None in known else False,
        applicators=_applicators(content),
        entry_ends_at=max((_at(e) for e in ends if e is not None), default=None),
    )


def _applicators(content: Mapping[str, Any]) -> Applicators | None:
    card = content["signer"]["certificate"]
    return Applicators(card["kind"]) if card and card["kind"] in set(Applicators) else None


def _at(value: Any) -> datetime:
    return value if isinstance(value, datetime) else datetime.fromisoformat(str(value))


def blanks(content: Mapping[str, Any], elements: Iterable[Element]) -> list[Element]:
    """Which of these a record lacks, in their order; what the book has no place for is not asked here."""
    return [e for e in elements if e not in KEPT_ELSEWHERE and not _HOLDS[e](content)]


def elsewhere(content: Mapping[str, Any], elements: Iterable[Element], kept: Kept) -> list[Element]:
    """Which of these the book does not keep for everything that was used, in their order."""
    used = {p.get("product_id") for p in content["products"] if _positive(p["amount"])}
    there = {
        Element.SAFETY_SHEET: used <= kept.safety_sheets,
        Element.SUPPLIER: used <= kept.supplied,
    }
    return [e for e in elements if e in KEPT_ELSEWHERE and not there.get(e, False)]


def _said(value: Any) -> bool:
    return bool(str(value if value is not None else "").strip())


def _positive(value: Any) -> bool:
    try:
        return value is not None and Decimal(str(value)) > 0
    except InvalidOperation:
        return False


def _each_used(test: Callable[[Mapping[str, Any]], bool]) -> Callable[[Mapping[str, Any]], bool]:
    """True when every product that was used passes, and one was used."""

    def holds(content: Mapping[str, Any]) -> bool:
        used = [p for p in content["products"] if _positive(p["amount"])]
        return bool(used) and all(test(p) for p in used)

    return holds


def _each_treated(test: Callable[[Mapping[str, Any]], bool]) -> Callable[[Mapping[str, Any]], bool]:
    def holds(content: Mapping[str, Any]) -> bool:
        treated = [b for b in content["blocks"] if _positive(b["treated_acres"])]
        return bool(treated) and all(test(b) for b in treated)

    return holds


def _label(product: Mapping[str, Any], name: str) -> Any:
    return (product["label"] or {}).get("body", {}).get(name)


def _entry_known(block: Mapping[str, Any]) -> bool:
    entries = [c for c in block["closures"] if c["kind"] == "entry"]
    return bool(entries) and all(c["reason"] != "rei_missing" for c in entries)


def _certified(content: Mapping[str, Any]) -> bool:
    """Whoever did or supervised it held a certificate whose number is on record."""
    card = content["signer"]["certificate"]
    people = [content.get("applicator"), content.get("supervisor")]
    numbers = [c["number"] for p in people if p for c in p["certificates"] if not c["suspended"]]
    return bool(card and _said(card["number"])) or any(_said(n) for n in numbers)


def _reading(name: str) -> Callable[[Mapping[str, Any]], bool]:
    return lambda content: _said(content["readings"]["start"].get(name))


_HOLDS: Mapping[Element, Callable[[Mapping[str, Any]], bool]] = {
    Element.PRODUCT_NAME: _each_used(lambda p: _said(p["name"])),
    Element.REGISTRATION_NUMBER: _each_used(lambda p: _said(p["registration_number"])),
    Element.ACTIVE_INGREDIENTS: _each_used(lambda p: bool(_label(p, "ingredients"))),
    Element.AMOUNT: _each_used(lambda p: _positive(p["amount"]) and _said(p["unit"])),
    Element.RATE: _each_used(lambda p: _positive(p["per_acre"])),
    Element.LOCATION: _each_treated(lambda b: _said(b["code"]) and _said(b["field"])),
    Element.AREA: _each_treated(lambda b: _positive(b["treated_acres"])),
    Element.CROP_OR_SITE: _each_treated(lambda b: _said(b["crop"]) or _said(b["site_code"])),
    Element.DATE: lambda c: _said(c["started_at"]),
    Element.START_TIME: lambda c: _said(c["started_at"]),
    Element.END_TIME: lambda c: _said(c["ended_at"]),
    Element.APPLICATOR: lambda c: _said((c.get("applicator") or {}).get("name")),
    Element.CERTIFICATE: _certified,
    Element.SUPERVISED_PERSON: lambda c: c.get("supervisor") is None or _said((c.get("applicator") or {}).get("name")),
    Element.ENTRY_INTERVAL: _each_treated(_entry_known),
    Element.TARGET: lambda c: any(_said(t) for t in c["job"]["targets"]),
    Element.METHOD: lambda c: _said(c["sprayer"]["method"]),
    Element.EQUIPMENT: lambda c: _said(c["sprayer"]["name"]),
    Element.WIND: _reading("wind_mph"),
    Element.TEMPERATURE: _reading("temperature_f"),
}
