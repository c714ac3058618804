"""A signed record as a packet shows it: the cells of a table row, in the reader's language.

Everything is read from the text that was signed, never from a column beside it. What a record does not say is a dash.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import get_language, gettext

from apps.spraying.rules.record import Meaning
from farmops import units, wording
from farmops.clock import to_local

NONE = "–"
Content = Mapping[str, Any]


def header() -> list[str]:
    """Columns of the whole record."""
    return [
        gettext("Record"),
        gettext("When"),
        gettext("Where"),
        gettext("Products"),
        gettext("Who sprayed"),
        gettext("Weather"),
        gettext("Entry and harvest"),
        gettext("Signed"),
    ]


def cells(body: Content, *, replaced_by: int | None, signed_at: datetime) -> list[str]:
    """One version of a record, whole."""
    content = body["content"]
    zone = content["farm"]["time_zone"]
    return [
        _number(body, replaced_by),
        when(content, zone),
        "\n".join(where(b) for b in content.get("blocks", [])) or NONE,
        _products(content),
        _who(content),
        _weather(content),
        "\n".join(closed(b, c, zone) for b in content.get("blocks", []) for c in b.get("closures", [])) or NONE,
        _signed(body, signed_at, zone),
    ]


def limited_header() -> list[str]:
    """Columns of the application information: 40 CFR 170.311(b), list from memory."""
    return [
        gettext("When"),
        gettext("Where"),
        gettext("Crop"),
        gettext("Product"),
        gettext("Registration number"),
        gettext("Active ingredients"),
        gettext("Entry restricted"),
        gettext("State of the record"),
    ]


def limited_cells(content: Content, block: Content, product: Content, standing: str, *, amounts: bool) -> list[str]:
    """One product on one block, and nothing about anybody."""
    zone = content["farm"]["time_zone"]
    entry = [c for c in block.get("closures", []) if c["kind"] == "entry" and _is_of(c, product)]
    name = str(product["name"])
    if amounts and product.get("amount") is not None:
        name += f"\n{amount(product)}"
    return [
        when(content, zone),
        where(block, acres=amounts),
        str(block.get("crop") or NONE),
        name,
        str(product.get("registration_number") or NONE),
        ingredients(product) or NONE,
        _entry(content, [interval(c, zone) for c in entry]),
        standing,
    ]


def _entry(content: Content, said: list[str]) -> str:
    """A spray that nobody has reported or signed leaves its entry times open: never said to be none."""
    if not content.get("entry_known", True):
        return gettext("not known: take the longest time on the label")
    return "\n".join(said) or gettext("none on the record")


# ---- one cell each ---------------------------------------------------------------------


def when(content: Content, zone: str) -> str:
    """Day, start and end with the zone; both days when it went past midnight."""
    started, ended = instant(content.get("started_at")), instant(content.get("ended_at"))
    if started is None:
        return NONE
    code = get_language()
    begin = to_local(started, zone)
    first = f"{wording.date(begin.date(), code)}\n{wording.clock_time(begin, code)}"
    if ended is None:
        return f"{first} {begin.tzname()} – ?"
    end = to_local(ended, zone)
    day = f"{wording.date(end.date(), code)} " if end.date() != begin.date() else ""
    begun = f" {begin.tzname()}" if begin.tzname() != end.tzname() else ""
    return f"{first}{begun} – {day}{wording.clock_time(end, code)} {end.tzname()}"


def instant(text: Any) -> datetime | None:
    if not text:
        return None
    return text if isinstance(text, datetime) else datetime.fromisoformat(str(text))


def stamp(value: datetime, zone: str) -> str:
    """``Mon, Jul 6, 2026, 10:10 AM CDT``"""
    local, code = to_local(value, zone), get_language()
    return f"{wording.date(local.date(), code)}, {wording.clock_time(local, code)} {local.tzname()}"


def _number(body: Content, replaced_by: int | None) -> str:
    lines = [str(body["seq"]), gettext("job {number}").format(number=body["content"]["job"]["number"])]
    if body["edition"] > 1:
        lines.append(gettext("version {number}").format(number=body["edition"]))
    if body.get("supersedes"):
        lines.append(gettext("in place of record {number}").format(number=body["supersedes"]))
    if replaced_by is not None:
        lines.append(gettext("REPLACED by record {number}").format(number=replaced_by))
    return "\n".join(lines)


def where(block: Content, *, acres: bool = True) -> str:
    name = " ".join(str(block[k]) for k in ("code", "name") if block.get(k))
    field = f" ({block['field']})" if block.get("field") else ""
    crop = f", {block['crop']}" if acres and block.get("crop") else ""
    treated = (
        f": {_show(block['treated_acres'])} {units.unit_name('ac')}" if acres and block.get("treated_acres") else ""
    )
    return f"{name}{field}{treated}{crop}"


def _products(content: Content) -> str:
    if content["meaning"] == Meaning.NOT_APPLIED:
        return gettext("Nothing was applied.")
    if content["meaning"] != Meaning.APPLIED:
        return gettext("The signature before was withdrawn: this spray counts as not signed.")
    return "\n".join(product(p) for p in content["products"]) or NONE


def product(product: Content) -> str:
    number = f" ({product['registration_number']})" if product.get("registration_number") else ""
    rate = f", {product['planned_text']}" if product.get("planned_text") else ""
    return f"{product['name']}{number}: {amount(product)}{rate}"


def amount(product: Content) -> str:
    """How much was used, with its unit."""
    if product.get("amount") is None:
        return NONE
    return f"{_show(product['amount'])} {units.unit_name(product['unit'])}"


def ingredients(product: Content) -> str:
    """Active ingredients as the label in force named them."""
    body = (product.get("label") or {}).get("body") or {}
    return ", ".join(str(i["name"]) for i in body.get("ingredients", []))


def _who(content: Content) -> str:
    lines = []
    for role, template in (("applicator", "{who}"), ("supervisor", gettext("supervised by {who}"))):
        person = content.get(role)
        if person:
            numbers = [f"{c['number']} ({c['jurisdiction']})" for c in person.get("certificates", [])]
            lines.append(template.format(who=", ".join([person["name"], *numbers])))
    return "\n".join(lines) or NONE


def _weather(content: Content) -> str:
    readings = content.get("readings") or {}
    said = [(gettext("start"), readings.get("start")), (gettext("end"), readings.get("end"))]
    return "\n".join(f"{at}: {_reading(r)}" for at, r in said if r) or NONE


def _reading(reading: Content) -> str:
    """Wind with the point it came from, temperature, humidity; only what was read."""
    wind = reading.get("wind_mph")
    found = [
        f"{str(reading.get('wind_from') or '').upper()} {wind} mph".strip() if wind is not None else "",
        f"{reading['temperature_f']} °F" if reading.get("temperature_f") is not None else "",
        f"{reading['humidity_percent']} %" if reading.get("humidity_percent") is not None else "",
    ]
    return ", ".join(part for part in found if part) or NONE


def closed(block: Content, closure: Content, zone: str) -> str:
    """``N1 entry: 12 h, before Mon, Jul 6, 2026, 9:40 PM CDT``"""
    kind = gettext("entry") if closure["kind"] == "entry" else gettext("harvest")
    return f"{block.get('code', '')} {kind}: {interval(closure, zone)}"


def interval(closure: Content, zone: str) -> str:
    """How long ground stays closed, and to which instant; an open end is said to be open."""
    numbers = closure.get("numbers") or {}
    length = str(numbers.get("hours") or numbers.get("days") or closure["reason"])
    work = ", ".join(closure.get("activities") or [])
    ends = instant(closure.get("ends_at"))
    end = gettext("until it is released") if ends is None else gettext("ends {at}").format(at=stamp(ends, zone))
    return f"{length}{f' ({work})' if work else ''}, {end}"


def _signed(body: Content, signed_at: datetime, zone: str) -> str:
    signature, certificate = body["signature"], body["content"]["signer"].get("certificate")
    lines = [str(signature["by"]), stamp(signed_at, zone)]
    if certificate:
        template = gettext("certificate {number} ({place}), valid through {day}")
        lines.append(
            template.format(
                number=certificate["number"], place=certificate["jurisdiction"], day=certificate["valid_to"]
            )
        )
    lines.append(gettext(signature["meaning"]))
    if signature.get("reason"):
        lines.append(gettext("Reason: {reason}").format(reason=signature["reason"]))
    return "\n".join(lines)


def _is_of(closure: Content, product: Content) -> bool:
    """A closure that names no product counts for each."""
    names = closure.get("products") or []
    return not names or product["name"] in names


def _show(value: Any) -> str:
    return units.show(Decimal(str(value)), 2)


def joined(texts: Iterable[str]) -> str:
    """A cell's lines for a file that has one line a row."""
    return "; ".join(text.replace("\n", ", ") for text in texts)
