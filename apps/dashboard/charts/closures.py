"""Which ground is closed, and when does it open?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import plotly.graph_objects as go
from django.utils.translation import gettext, ngettext

from apps.dashboard.charts import look
from apps.dashboard.charts.table import Cell, Chart, Column, Frame, text
from apps.dashboard.rules import MOST_DRAWN, ClosureFacts, Shade, closures_in_order
from farmops.errors import gettext_noop

LANE = 0.42
"""Height of a bar: entry above, picking below, in each block's row."""

SHADE_NAMES = {
    Shade.PLANNED: gettext_noop("Spraying planned"),
    Shade.UNDERWAY: gettext_noop("Spraying now"),
    Shade.UNCONFIRMED: gettext_noop("Sprayed, not signed"),
    Shade.ENTRY: gettext_noop("Keep out"),
    Shade.HARVEST: gettext_noop("Do not pick yet"),
    Shade.POSTED: gettext_noop("Sign is up"),
}
_FILLS: dict[Shade, dict[str, Any]] = {
    Shade.PLANNED: look.hollow(),
    Shade.UNDERWAY: look.fill(look.VERMILLION),
    Shade.UNCONFIRMED: look.fill(look.INK, "x"),
    Shade.ENTRY: look.fill(look.BLUE, "/"),
    Shade.HARVEST: look.fill(look.PURPLE, "."),
    Shade.POSTED: look.fill(look.INK, "-"),
}


def chart(rows: Sequence[ClosureFacts], frame: Frame) -> Chart:
    """Facts -> figure and table. One row a block; keep-out bars above, picking bars below."""
    ordered = closures_in_order(rows)
    blocks = list(dict.fromkeys(r.block for r in ordered))
    shown = [r for r in ordered if r.block in blocks[:MOST_DRAWN]]
    notes = [gettext("A bar that runs to the edge with the words “no end time” has no confirmed end.")]
    if len(blocks) > MOST_DRAWN:
        notes.append(look.only_first(MOST_DRAWN, len(blocks)))
    return Chart(
        name="closures",
        question=gettext("Which ground is closed, and when does it open?"),
        answer=_answer(ordered, frame),
        caption=gettext("Every closure on the board, as of %(now)s") % {"now": frame.as_of},
        columns=(
            Column(key="block", title=gettext("Block")),
            Column(key="state", title=gettext("State")),
            Column(key="from", title=gettext("Closed from")),
            Column(key="until", title=gettext("Until")),
            Column(key="products", title=gettext("Sprayed with")),
            Column(key="set_by", title=gettext("Set by")),
        ),
        rows=tuple(_row(r, frame) for r in ordered),
        draw=partial(_figure, shown, blocks[:MOST_DRAWN], frame) if shown else None,
        notes=tuple(notes) if shown else (),
    )


def _row(row: ClosureFacts, frame: Frame) -> tuple[Cell, ...]:
    until = frame.instant(row.span.ends_at, gettext("no end time"))
    if row.unsure and row.span.ends_at is not None:
        until = Cell(value=until.value, text=gettext("not confirmed: %(at)s") % {"at": until.text})
    return (
        text(row.block),
        Cell(value=row.shade.value, text=gettext(SHADE_NAMES[row.shade])),
        frame.instant(row.span.starts_at),
        until,
        text(row.products),
        text(row.set_by),
    )


def _keeps_out(row: ClosureFacts, now: datetime) -> bool:
    """Whether nobody may enter now because of it."""
    begun = row.span.starts_at <= now
    over = not row.unsure and row.span.ends_at is not None and row.span.ends_at <= now
    return row.shade is not Shade.HARVEST and begun and not over


def _answer(rows: Sequence[ClosureFacts], frame: Frame) -> str:
    """How many blocks are closed now, and the first to open of those whose end is known."""
    closed: dict[str, list[ClosureFacts]] = {}
    for row in rows:
        if _keeps_out(row, frame.now):
            closed.setdefault(row.block, []).append(row)
    if not closed:
        return gettext("No closure for entry is on record now. Ask the board before anybody goes in.")
    count = ngettext("%(n)d block is closed.", "%(n)d blocks are closed.", len(closed)) % {"n": len(closed)}
    ends = {block: [_end(r) for r in found] for block, found in closed.items()}
    sure = {block: max(e for e in found if e) for block, found in ends.items() if None not in found}
    if not sure:
        return count + " " + gettext("No opening time is known for any of them.")
    block, opens_at = min(sure.items(), key=lambda item: item[1])
    at = frame.instant(opens_at).text
    return count + " " + gettext("Next to open: %(block)s, not before %(at)s.") % {"block": block, "at": at}


def _end(row: ClosureFacts) -> datetime | None:
    return None if row.unsure or row.shade is not Shade.ENTRY else row.span.ends_at


def _figure(rows: Sequence[ClosureFacts], blocks: Sequence[str], frame: Frame) -> go.Figure:
    first = min([frame.now - timedelta(hours=12), *(r.span.starts_at for r in rows)])
    known = [r.span.ends_at for r in rows if r.span.ends_at is not None and not r.unsure]
    edge = max([frame.now + timedelta(days=1), *known]) + timedelta(hours=12)
    first = max(first, frame.now - timedelta(days=14))
    traces = [_bars([r for r in rows if r.shade is shade], shade, blocks, frame, edge) for shade in Shade]
    figure = go.Figure([t for t in traces if t is not None])
    figure.layout = look.layout(
        rows=len(blocks),
        xaxis=look.time_axis(frame, first, edge),
        yaxis=look.rows_axis(blocks),
        shapes=[look.now_line(frame)],
        annotations=[look.now_word(frame), *_open_ends(rows, blocks, frame, edge)],
    )
    return figure


def _bars(
    rows: Sequence[ClosureFacts], shade: Shade, blocks: Sequence[str], frame: Frame, edge: datetime
) -> go.Bar | None:
    if not rows:
        return None
    return go.Bar(
        orientation="h",
        name=look.plain(gettext(SHADE_NAMES[shade])),
        y=[blocks.index(r.block) for r in rows],
        base=[frame.naive(r.span.starts_at) for r in rows],
        x=[look.drawn_ms(frame, r.drawn, edge) for r in rows],
        offset=0.02 if shade is Shade.HARVEST else -LANE - 0.02,
        width=LANE,
        marker=_FILLS[shade],
        customdata=[[look.plain(r.block), _until_words(r, frame)] for r in rows],
        hovertemplate="%{customdata[0]}: %{customdata[1]}<extra>%{fullData.name}</extra>",
    )


def _until_words(row: ClosureFacts, frame: Frame) -> str:
    return look.plain(_row(row, frame)[3].text)


def _open_ends(
    rows: Sequence[ClosureFacts], blocks: Sequence[str], frame: Frame, edge: datetime
) -> list[dict[str, Any]]:
    """“no end time” at the edge of each bar without an end that anybody vouches for."""
    return [
        {
            "x": frame.naive(edge),
            "y": blocks.index(r.block) + (LANE / 2 if r.shade is Shade.HARVEST else -LANE / 2),
            "xanchor": "right",
            "text": look.plain(gettext("no end time")) + " ▶",
            "showarrow": False,
            "bgcolor": "#FFFFFF",
            "bordercolor": look.INK,
            "borderwidth": 1,
        }
        for r in rows
        if r.drawn.ends_at is None
    ]
