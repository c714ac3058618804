"""The files there are to take away; pages and interface serve the same."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime

from django.http import StreamingHttpResponse

from apps.people.models import Farm
from apps.reports import exports, queries
from apps.reports.period import Period, read_period
from farmops import csv_rows

Made = Callable[[Farm, Period, datetime], StreamingHttpResponse]


def spray_records(farm: Farm, period: Period, now: datetime) -> StreamingHttpResponse:
    rows = exports.record_rows(queries.records(farm, period), queries.replaced(farm), farm.time_zone)
    return csv_rows.download(f"spray-records-{farm.slug}", exports.RECORD_HEADER, rows, as_of=now)


def spray_products(farm: Farm, period: Period, now: datetime) -> StreamingHttpResponse:
    rows = exports.product_rows(queries.records(farm, period), queries.replaced(farm), farm.time_zone)
    return csv_rows.download(f"spray-products-{farm.slug}", exports.PRODUCT_HEADER, rows, as_of=now)


def stock_ledger(farm: Farm, period: Period, now: datetime) -> StreamingHttpResponse:
    rows = exports.ledger_rows(queries.ledger(farm, period), farm.time_zone)
    return csv_rows.download(f"stock-ledger-{farm.slug}", exports.LEDGER_HEADER, rows, as_of=now)


def made(make: Made, farm: Farm, asked: Mapping[str, str], now: datetime) -> StreamingHttpResponse:
    """The file for the days asked for (``from``, ``to``), or ``BadInput``."""
    return make(farm, read_period(asked), now)
