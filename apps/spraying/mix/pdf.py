"""The mix sheet on paper: large type, one page for an ordinary job."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from django.http import HttpResponse
from django.utils.text import slugify
from django.utils.translation import get_language, gettext

from apps.spraying.mix import wording
from apps.spraying.mix.queries import MixSheet
from apps.spraying.mix.rules import Load
from farmops import wording as times
from farmops.pdf import compile_pdf
from farmops.units import show, unit_name

TEMPLATE = Path(__file__).parent / "sheet.typ"


def answer(made: MixSheet, *, now: datetime) -> HttpResponse:
    """The PDF as a response that opens in the browser."""
    response = HttpResponse(mix_sheet_pdf(made, now=now), content_type="application/pdf")
    name = slugify(f"mix sheet {made.job.farm.slug} job {made.job.number}")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


def mix_sheet_pdf(made: MixSheet, *, now: datetime) -> bytes:
    """The sheet in the language that is active."""
    data = facts(made, now)
    return compile_pdf(TEMPLATE, data, data["title"], get_language() or "en", made_at=now)


def facts(made: MixSheet, now: datetime) -> dict[str, Any]:
    """Everything the template prints, in words."""
    job, language = made.job, get_language()
    zone = job.farm.time_zone
    columns = _columns(made)
    return {
        "title": gettext("Mix sheet, job %(job)d") % {"job": job.number},
        "farm": job.farm.name,
        "blocks": ", ".join(str(row.block) for row in job.job_blocks.all()),
        "facts": [
            " – ".join(times.instant(at, zone, language) for at in (job.window_starts_at, job.window_ends_at)),
            wording.summary(made),
        ],
        "head": [gettext("In this order"), *(title for title, _ in columns), gettext("All loads")],
        "rows": _rows(made, [load for _, load in columns]),
        "totals_note": gettext("Amounts are cut, never rounded up; the water makes up the rest."),
        "wear": {"title": gettext("Wear"), "rows": _wear(made)},
        "notes": {"title": gettext("Before, during and after"), "rows": _notes(made)},
        "as_of": gettext("Printed %(at)s. Ask for changes before mixing. The label outranks this sheet.")
        % {"at": times.instant(now, zone, language)},
    }


def _columns(made: MixSheet) -> list[tuple[str, Load]]:
    """Loads that are alike share a column."""
    found: list[tuple[int, int, Load]] = []
    for load in made.sheet.loads:
        if found and found[-1][2].mix_gal == load.mix_gal:
            found[-1] = (found[-1][0], load.number, found[-1][2])
        else:
            found.append((load.number, load.number, load))
    return [(_title(first, last), load) for first, last, load in found]


def _title(first: int, last: int) -> str:
    if first == last:
        return gettext("Load %(n)d") % {"n": first}
    return gettext("Loads %(first)d to %(last)d, each") % {"first": first, "last": last}


def _rows(made: MixSheet, loads: list[Load]) -> list[list[dict[str, str]]]:
    first = _line(gettext("Water, agitation on"), [wording.gallons(x.first_water_gal) for x in loads])
    rinse = _line(gettext("Rinse emptied containers 3 times into the tank"), ["" for _ in loads])
    mark = _line(gettext("Fill with water to"), [wording.gallons(x.mark_gal) for x in loads])
    products = []
    for place, row in enumerate(made.sheet.order):
        portions = [load.portions[place].measure for load in loads]
        total = made.sheet.totals[place]
        products.append(
            [
                _cell(f"{place + 1}. {row.line.name}", wording.because(row)),
                *(_cell(wording.together(str(m)), str(m.exact)) for m in portions),
                _cell(f"{show(total.measured.amount, 3)} {unit_name(total.measured.unit)}"),
            ]
        )
    return [first, *products, rinse, mark]


def _line(words: str, amounts: list[str]) -> list[dict[str, str]]:
    return [_cell(words), *map(_cell, amounts), _cell("")]


def _cell(words: str, small: str = "") -> dict[str, str]:
    return {"words": words, "small": small}


def _wear(made: MixSheet) -> list[str]:
    """Products that ask for the same gear share a line."""
    found: dict[tuple[str, str], list[str]] = {}
    for row in wording.wear(made):
        found.setdefault((row["mixing"], row["applying"]), []).append(row["product"])
    return [
        gettext("%(products)s. Mixing: %(mixing)s. Spraying: %(applying)s.")
        % {"products": ", ".join(names), "mixing": mixing, "applying": applying}
        for (mixing, applying), names in found.items()
    ]


def _notes(made: MixSheet) -> list[str]:
    language = get_language()
    said = [times.fill(gettext(f.template), f.numbers, language) for f in (*made.cautions, made.entry.telling)]
    if made.jar:
        amounts = "; ".join(f"{j.name} {j.said}" for j in made.jar)
        jar = gettext("Jar test first, in a pint of this water, in the same order: %(amounts)s.") % {"amounts": amounts}
        said.insert(0, jar)
    return [*said, wording.entry_words(made), wording.pump_words(made)]
