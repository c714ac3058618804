"""How much of each season limit is used and booked?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import partial
from typing import Any

import plotly.graph_objects as go
from django.utils.translation import gettext, ngettext

from apps.dashboard.charts import look
from apps.dashboard.charts.table import Cell, Chart, Column, Frame, day, number, text
from apps.dashboard.rules import MOST_DRAWN, LimitFacts, drawn, fullest_first

PER_ACRE = "lb/acre"
BAND = 0.5


def chart(rows: Sequence[LimitFacts], frame: Frame) -> Chart:
    """Facts -> figure and table. Bars are shares of each limit, so that all limits stand on one scale."""
    ordered = fullest_first(rows)
    shown = drawn(ordered)
    return Chart(
        name="limits",
        question=gettext("How much of each season limit is used and booked?"),
        answer=_answer(ordered),
        caption=gettext("Pounds of active ingredient per acre against the label's season limit, as of %(now)s")
        % {"now": frame.as_of},
        columns=(
            Column(key="block", title=gettext("Block")),
            Column(key="ingredient", title=gettext("Active ingredient")),
            Column(key="used", title=gettext("Used (lb/acre)"), number=True),
            Column(key="booked", title=gettext("Booked (lb/acre)"), number=True),
            Column(key="limit", title=gettext("Limit (lb/acre)"), number=True),
            Column(key="left", title=gettext("Left (lb/acre)"), number=True),
            Column(key="used_percent", title=gettext("Used (% of limit)"), number=True),
            Column(key="booked_percent", title=gettext("Booked (% of limit)"), number=True),
            Column(key="since", title=gettext("Counted from")),
            Column(key="until", title=gettext("Counted to")),
            Column(key="product", title=gettext("Limit of")),
            Column(key="unread", title=gettext("Not counted")),
        ),
        rows=tuple(_row(r) for r in ordered),
        draw=partial(_figure, shown) if shown else None,
        notes=(look.only_first(MOST_DRAWN, len(ordered)),) if len(ordered) > MOST_DRAWN else (),
    )


def _row(row: LimitFacts) -> tuple[Cell, ...]:
    return (
        text(row.block),
        text(row.ingredient),
        number(row.used),
        number(row.booked),
        number(row.limit),
        number(row.left),
        number(row.percent(row.used)),
        number(row.percent(row.booked)),
        day(row.since),
        day(row.until),
        text(row.product),
        text(row.unread or "–"),
    )


def _answer(rows: Sequence[LimitFacts]) -> str:
    if not rows:
        return gettext("No ingredient with a season limit has been sprayed or booked.")
    over = [r for r in rows if r.left < 0]
    if over:
        names = ", ".join(f"{r.ingredient} ({r.block})" for r in over)
        said = ngettext("%(n)d limit is passed: %(names)s.", "%(n)d limits are passed: %(names)s.", len(over))
        return said % {"n": len(over), "names": names}
    least = rows[0]
    return gettext("Least is left of %(ingredient)s on %(block)s: %(left)s of %(limit)s.") % {
        "ingredient": least.ingredient,
        "block": least.block,
        "left": number(least.left, PER_ACRE).text,
        "limit": number(least.limit, PER_ACRE).text,
    }


def _figure(rows: Sequence[LimitFacts]) -> go.Figure:
    names = [[r.block, r.ingredient] for r in rows]
    used = [r.percent(r.used) for r in rows]
    booked = [r.percent(r.booked) for r in rows]
    top = max([Decimal(100), *(u + b for u, b in zip(used, booked, strict=True))])
    figure = go.Figure(
        [
            _bars("used", gettext("Used"), rows, lambda r: r.used, look.fill(look.BLUE)),
            _bars("booked", gettext("Booked"), rows, lambda r: r.booked, look.fill(look.BLUE, "/"), base=used),
            _limit(rows),
        ]
    )
    figure.layout = look.layout(
        rows=len(rows),
        xaxis={
            "range": [0, float(top) * 1.4],
            "title": look.axis_title(gettext("Percent of the limit")),
            "ticksuffix": " %",
            "tickvals": [0, 50, 100],
            "tickangle": 0,
            "zeroline": True,
            "showgrid": False,
        },
        yaxis=look.rows_axis(names),
        meta={"without_asides": {"xaxis": [0, float(top) * 1.08]}},
        annotations=[_left(place, r, u + b) for place, (r, u, b) in enumerate(zip(rows, used, booked, strict=True))],
    )
    return figure


def _bars(
    kind: str,
    name: str,
    rows: Sequence[LimitFacts],
    of: Callable[[LimitFacts], Decimal],
    marker: dict[str, Any],
    base: Sequence[Decimal] | None = None,
) -> go.Bar:
    return go.Bar(
        orientation="h",
        name=look.plain(name),
        meta=kind,
        y=list(range(len(rows))),
        x=[float(r.percent(of(r))) for r in rows],
        base=None if base is None else [float(b) for b in base],
        width=BAND,
        marker=marker,
        customdata=[[number(of(r)).value, number(of(r), PER_ACRE).text] for r in rows],
        hovertemplate="%{customdata[1]}, %{x} %<extra>%{fullData.name}</extra>",
    )


def _limit(rows: Sequence[LimitFacts]) -> go.Scatter:
    """The limit itself: a thick stroke at 100 % in each row."""
    return go.Scatter(
        mode="markers",
        name=look.plain(gettext("Limit")),
        meta="limit",
        x=[100.0] * len(rows),
        y=list(range(len(rows))),
        marker={"symbol": "line-ns", "size": 40, "color": look.INK, "line": {"color": look.INK, "width": 5}},
        customdata=[[number(r.limit).value, number(r.limit, PER_ACRE).text] for r in rows],
        hovertemplate="%{customdata[1]}<extra>%{fullData.name}</extra>",
    )


def _left(place: int, row: LimitFacts, filled: Decimal) -> dict[str, Any]:
    """What is left, in words at the end of the bar."""
    if row.left < 0:
        words = gettext("%(over)s over") % {"over": number(-row.left, PER_ACRE).text}
    else:
        words = gettext("%(left)s left") % {"left": number(row.left, PER_ACRE).text}
    return {
        "x": max(float(filled), 100.0),
        "y": place,
        "xanchor": "left",
        "xshift": 8,
        "text": look.plain(words),
        "showarrow": False,
        "name": look.ASIDE,
    }
