"""Rows to lines of a file. Amounts keep their unit beside them; every instant stands twice, with and without offset."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from apps.inventory.models import LedgerLine
from apps.spraying.models import SprayRecord
from farmops.csv_rows import Value, times

_SIGNED = (
    "record",
    "edition",
    "supersedes_record",
    "replaced_by_record",
    "meaning",
    "job",
    "signed_at",
    "signed_at_farm_time",
    "signed_by",
    "signer_certificate",
    "applicator",
    "started_at",
    "started_at_farm_time",
    "ended_at",
    "ended_at_farm_time",
    "blocks",
)
RECORD_HEADER = (
    *_SIGNED,
    "crops",
    "treated_acres",
    "spray_gal_per_acre",
    "loads",
    "sprayer",
    "targets",
    "start_wind_mph",
    "start_wind_from",
    "start_temperature_f",
    "start_humidity_percent",
    "end_wind_mph",
    "end_wind_from",
    "products",
    "closures",
    "reason",
    "hash",
)
PRODUCT_HEADER = (
    *_SIGNED,
    "product",
    "registration_number",
    "label_version",
    "planned_rate",
    "amount",
    "unit",
    "amount_per_acre",
)
LEDGER_HEADER = (
    "line",
    "at",
    "at_farm_time",
    "product",
    "lot",
    "kind",
    "on_hand_change",
    "reserved_change",
    "unit",
    "entered_amount",
    "entered_unit",
    "reason",
    "for_type",
    "for_id",
    "by",
)


def record_rows(records: Iterable[SprayRecord], replaced: Mapping[int, int], zone_name: str) -> Iterator[list[Value]]:
    """One line for each record version. ``replaced``: record -> the record that stands in its place."""
    for record in records:
        yield record_row(record, json.loads(record.body_text), replaced, zone_name)


def record_row(
    record: SprayRecord, body: Mapping[str, Any], replaced: Mapping[int, int], zone_name: str
) -> list[Value]:
    """The line of one record version; ``body`` is its signed text, read."""
    content = body["content"]
    start, end = (_readings(content, when) for when in ("start", "end"))
    return [
        *_signed(record, body, replaced, zone_name),
        "; ".join(dict.fromkeys(str(b["crop"]) for b in content["blocks"] if b.get("crop"))),
        _number(content.get("treated_acres")),
        _number(content.get("spray_gpa")),
        _number(content.get("loads")),
        (content.get("sprayer") or {}).get("name"),
        "; ".join(content["job"]["targets"]),
        *(_number(start.get("wind_mph")), _compass(start)),
        *(_number(start.get("temperature_f")), _number(start.get("humidity_percent"))),
        *(_number(end.get("wind_mph")), _compass(end)),
        "; ".join(_product(p) for p in content["products"]),
        "; ".join(_closure(b, c, zone_name) for b in content["blocks"] for c in b.get("closures", [])),
        body["signature"].get("reason") or content.get("deviation_reason"),
        record.hash,
    ]


def product_rows(records: Iterable[SprayRecord], replaced: Mapping[int, int], zone_name: str) -> Iterator[list[Value]]:
    """One line for each product of each record version; nothing for a record that nothing was applied."""
    for record in records:
        body = json.loads(record.body_text)
        signed = _signed(record, body, replaced, zone_name)
        for product in body["content"]["products"]:
            if "amount" not in product:
                continue
            yield [
                *signed,
                product["name"],
                product.get("registration_number"),
                (product.get("label") or {}).get("version"),
                product.get("planned_text"),
                _number(product["amount"]),
                product["unit"],
                _number(product.get("per_acre")),
            ]


def ledger_rows(lines: Iterable[LedgerLine], zone_name: str) -> Iterator[list[Value]]:
    """One line for each movement, as it was typed and as it counts."""
    for line in lines:
        yield [
            line.pk,
            *times(line.at, zone_name),
            line.product.name,
            line.lot.lot_number if line.lot else None,
            line.kind,
            line.on_hand_change,
            line.reserved_change,
            line.unit,
            line.entered_amount,
            line.entered_unit,
            line.reason,
            line.source_type,
            line.source_id,
            line.by.full_name if line.by else None,
        ]


def _signed(record: SprayRecord, body: Mapping[str, Any], replaced: Mapping[int, int], zone: str) -> list[Value]:
    """What both files say of a record, from its signed text."""
    content = body["content"]
    certificate = content["signer"].get("certificate") or {}
    return [
        body["seq"],
        body["edition"],
        body["supersedes"],
        replaced.get(record.seq),
        content["meaning"],
        content["job"]["number"],
        *times(record.signed_at, zone),
        body["signature"]["by"],
        certificate.get("number"),
        (content.get("applicator") or {}).get("name"),
        *times(_instant(content.get("started_at")), zone),
        *times(_instant(content.get("ended_at")), zone),
        "; ".join(_block(b) for b in content["blocks"]),
    ]


def _block(block: Mapping[str, Any]) -> str:
    name = f"{block['code']} {block['name']}" if "code" in block else str(block["name"])
    return f"{name}: {block['treated_acres']} acres" if block.get("treated_acres") is not None else name


def _product(product: Mapping[str, Any]) -> str:
    used = f" {product['amount']} {product['unit']}" if product.get("amount") is not None else ""
    return f"{product['name']}{used}"


def _closure(block: Mapping[str, Any], closure: Mapping[str, Any], zone: str) -> str:
    _, until = times(_instant(closure.get("ends_at")), zone)
    return f"{block['code']} {closure['kind']} until {until or 'not known'}"


def _readings(content: Mapping[str, Any], when: str) -> Mapping[str, Any]:
    return (content.get("readings") or {}).get(when) or {}


def _compass(readings: Mapping[str, Any]) -> str:
    """The point the wind came from, in capitals however it was kept."""
    return str(readings.get("wind_from") or "").upper()


def _instant(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def _number(value: Any) -> Value:
    return None if value is None or value == "" else Decimal(str(value))
