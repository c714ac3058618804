"""Does the shed hold what the open jobs need?"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import plotly.graph_objects as go
from django.utils.translation import gettext, ngettext

from apps.dashboard.charts import look
from apps.dashboard.charts.table import Cell, Chart, Column, Frame, as_drawn, number, text
from apps.dashboard.rules import MOST_DRAWN, StockFacts, drawn, shortest_first
from farmops.units import unit_name

BAND = 0.38


def chart(rows: Sequence[StockFacts], frame: Frame) -> Chart:
    """Facts -> figure and table. Liquids and dry products have a panel each: gallons and pounds share no scale."""
    ordered = shortest_first(rows)
    shown = drawn(ordered)
    return Chart(
        name="stock",
        question=gettext("Does the shed hold what the open jobs need?"),
        answer=_answer(ordered),
        caption=gettext("Stock on hand against the need of all jobs not yet signed, as of %(now)s")
        % {"now": frame.as_of},
        columns=(
            Column(key="product", title=gettext("Product")),
            Column(key="unit", title=gettext("Unit")),
            Column(key="on_hand", title=gettext("On hand"), number=True),
            Column(key="promised", title=gettext("Promised to jobs"), number=True),
            Column(key="drafts", title=gettext("Drafts need"), number=True),
            Column(key="missing", title=gettext("Missing"), number=True),
        ),
        rows=tuple(_row(r) for r in ordered),
        draw=partial(_figure, shown) if shown else None,
        notes=(look.only_first(MOST_DRAWN, len(ordered)),) if len(ordered) > MOST_DRAWN else (),
    )


def _row(row: StockFacts) -> tuple[Cell, ...]:
    unknown = gettext("cannot be counted")
    return (
        text(row.product),
        Cell(value=row.unit, text=unit_name(row.unit)),
        number(row.on_hand, unit_name(row.unit)),
        number(row.promised, unit_name(row.unit)),
        number(row.drafts, unit_name(row.unit), unknown),
        number(row.missing, unit_name(row.unit), unknown),
    )


def _answer(rows: Sequence[StockFacts]) -> str:
    if not rows:
        return gettext("Nothing is in the shed and no open job needs a product.")
    short = [r for r in rows if r.missing]
    unread = [r for r in rows if r.need is None]
    said = []
    if short:
        names = ", ".join(f"{r.product} ({number(r.missing, unit_name(r.unit)).text})" for r in short)
        said.append(
            ngettext("%(n)d product is short: %(names)s.", "%(n)d products are short: %(names)s.", len(short))
            % {"n": len(short), "names": names}
        )
    if unread:
        said.append(
            gettext("The need of %(names)s cannot be counted in the shed's unit.")
            % {"names": ", ".join(r.product for r in unread)}
        )
    return " ".join(said) or gettext("Every open job is covered by what is on hand.")


def _figure(rows: Sequence[StockFacts]) -> go.Figure:
    """One panel for each unit, stacked; rows keep the order of the table."""
    panels = [(unit, [r for r in rows if r.unit == unit]) for unit in dict.fromkeys(r.unit for r in rows)]
    figure = go.Figure([t for place, (_, own) in enumerate(panels) for t in _panel(own, place)])
    total = sum(len(own) for _, own in panels)
    figure.layout = look.layout(
        rows=total + len(panels) - 1,
        xaxis=_amounts(panels[0]),
        yaxis={**look.rows_axis([r.product for r in panels[0][1]]), "domain": _share(panels, 0)},
        meta={"without_asides": {("xaxis", "xaxis2")[n]: [0, _top(own) * 1.08] for n, (_, own) in enumerate(panels)}},
        annotations=[a for place, (_, own) in enumerate(panels) for a in _words(own, place)],
    )
    if len(panels) > 1:
        figure.layout.xaxis2 = {"fixedrange": True, "automargin": True, "anchor": "y2", **_amounts(panels[1])}
        figure.layout.yaxis2 = {
            **look.rows_axis([r.product for r in panels[1][1]]),
            "domain": _share(panels, 1),
            "anchor": "x2",
        }
    return figure


def _top(rows: Sequence[StockFacts]) -> float:
    """The longest bar of a panel."""
    return max(float(max(r.on_hand, r.need or r.on_hand)) for r in rows) or 1.0


def _amounts(panel: tuple[str, list[StockFacts]]) -> dict[str, Any]:
    unit, own = panel
    return {
        "range": [0, _top(own) * 1.4],
        "title": look.axis_title(unit_name(unit)),
        "tickangle": 0,
        "zeroline": True,
        "showgrid": False,
    }


def _share(panels: Sequence[tuple[str, list[StockFacts]]], place: int) -> list[float]:
    """The part of the height a panel gets: as its rows, with room for an axis title between."""
    if len(panels) == 1:
        return [0.0, 1.0]
    upper, lower = (len(own) for _, own in panels)
    edge = lower / (upper + lower)
    return [edge + 0.12, 1.0] if place == 0 else [0.0, edge - 0.06]


def _panel(rows: Sequence[StockFacts], place: int) -> list[go.Bar]:
    """Three bars a row: on hand above, promised and drafts end to end below."""
    on_hand = [as_drawn(r.on_hand) for r in rows]
    promised = [as_drawn(r.promised) for r in rows]
    drafts = [0.0 if r.drafts is None else as_drawn(r.drafts) for r in rows]
    return [
        _bar("on_hand", gettext("On hand"), on_hand, look.fill(look.GREEN), place, offset=-BAND),
        _bar("promised", gettext("Promised to jobs"), promised, look.fill(look.VERMILLION, "/"), place, offset=0),
        _bar("drafts", gettext("Drafts need"), drafts, look.fill(look.INK, "."), place, offset=0, base=promised),
    ]


def _bar(
    kind: str,
    name: str,
    amounts: list[float],
    marker: dict[str, Any],
    place: int,
    *,
    offset: float,
    base: list[float] | None = None,
) -> go.Bar:
    axis = {} if place == 0 else {"xaxis": "x2", "yaxis": "y2"}
    return go.Bar(
        orientation="h",
        name=look.plain(name),
        meta=kind,
        y=list(range(len(amounts))),
        x=amounts,
        base=base,
        offset=offset,
        width=BAND,
        marker=marker,
        legendgroup=kind,
        showlegend=place == 0,
        hovertemplate="%{x}<extra>%{fullData.name}</extra>",
        **axis,
    )


def _words(rows: Sequence[StockFacts], place: int) -> list[dict[str, Any]]:
    """What is missing, or that it cannot be said, at the end of the bars."""
    found = []
    for i, row in enumerate(rows):
        if row.missing == 0:
            continue
        missing = number(row.missing, unit_name(row.unit)).text
        words = gettext("cannot be counted") if row.need is None else gettext("%(n)s missing") % {"n": missing}
        found.append(
            {
                "x": float(max(row.on_hand, row.need or row.on_hand)),
                "y": i,
                "xref": "x" if place == 0 else "x2",
                "yref": "y" if place == 0 else "y2",
                "xanchor": "left",
                "xshift": 8,
                "text": look.plain(words),
                "showarrow": False,
                "name": look.ASIDE,
            }
        )
    return found
