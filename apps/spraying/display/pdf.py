"""The display sheet on paper: an accessible, archival PDF. It is information for workers, not a warning sign."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from django.http import HttpResponse
from django.utils.translation import get_language, gettext

from apps.products.models import SafetySheet
from apps.spraying.display.queries import Sheet
from farmops import wording
from farmops.pdf import compile_pdf

TEMPLATE = Path(__file__).with_name("sheet.typ")


def answer(said: Sheet, now: datetime) -> HttpResponse:
    """The PDF as a download in the reader's language."""
    response = HttpResponse(make(said, now), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="display-{said.job.number}.pdf"'
    response["Cache-Control"] = "no-store"
    return response


def make(said: Sheet, now: datetime) -> bytes:
    language = get_language() or "en"
    title = gettext("Pesticide application information")
    return compile_pdf(TEMPLATE, facts(said, now), title, language, made_at=now)


def facts(said: Sheet, now: datetime) -> dict[str, Any]:
    """Every word on the sheet."""
    return {
        "farm": said.job.farm.name,
        "heads": [
            gettext("Product"), gettext("EPA registration number"), gettext("Active ingredients"),
            gettext("Keep out for"),
        ],
        "products": [
            [p.name, p.registration_number, ", ".join(p.ingredients), _hours(p.hours)] for p in said.products
        ],
        "where": gettext("Where"),
        "places": [_place(p) for p in said.places],
        "when": gettext("When"),
        "times": times(said),
        "calls": gettext("If somebody may have been exposed"),
        "phones": [
            gettext("Act now. Do not wait for this sheet. Call 911."),
            *(f"{p.name}: {p.number}" for p in said.phones),
        ],
        "notes": [
            gettext("The safety data sheet of each product hangs beside this sheet."),
            *safety_sheets(said),
            gettext("The product label is the law. This sheet does not replace it, and it is not a warning sign."),
            _at(gettext("From what was on record"), now, said),
        ],
    }  # fmt: skip


def safety_sheets(said: Sheet) -> list[str]:
    """Of each product: the safety data sheet the farm has on file, or that it has none."""
    kept = said.safety_sheets
    return [_on_file(row.product.name, kept.get(row.product_id)) for row in said.job.job_products.all()]


def _on_file(product: str, kept: SafetySheet | None) -> str:
    if kept is None:
        return gettext("%s: no safety data sheet is on file.") % product
    day = wording.date(kept.sheet_on, get_language())
    where = f", {kept.hangs_at}" if kept.hangs_at else ""
    return (
        gettext("%(product)s: its safety data sheet of %(day)s is on file") % {"product": product, "day": day} + where
    )


def times(said: Sheet) -> list[str]:
    """The times in words; what is not known says so."""
    lines = [
        _at(gettext("Started"), said.started_at, said),
        _at(gettext("Ended"), said.ended_at, said),
        _at(gettext("Time to keep out has run"), said.interval_ends_at if said.interval_known else None, said),
    ]
    if not said.signed:
        lines.append(gettext("Not confirmed: the record is not signed. Keep out."))
    if said.until_at is not None:
        lines.append(_at(gettext("This sheet stays up at least until"), said.until_at, said))
    return lines


def _at(what: str, at: datetime | None, said: Sheet) -> str:
    if at is None:
        return gettext("%(what)s: not known") % {"what": what}
    return f"{what}: {wording.instant(at, said.job.farm.time_zone, get_language())}"


def _hours(hours: str) -> str:
    return gettext("%s hours") % hours if hours else gettext("not known: keep out")


def _place(p: Any) -> str:
    acres = gettext("%s acres") % p.acres
    return ", ".join(t for t in (p.field, p.block, p.crop, acres, gettext(p.part) if p.part else "") if t)
