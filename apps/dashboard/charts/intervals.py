"""When is each block due for its next spray, and did we miss a window?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any

import plotly.graph_objects as go
from django.utils.translation import gettext, ngettext

from apps.dashboard.charts import look
from apps.dashboard.charts.table import Cell, Chart, Column, Frame, day, text
from apps.dashboard.rules import MOST_DRAWN, Days, IntervalFacts, drawn, intervals_in_order

BAND = 0.5
"""Height of a window in a block's row."""

KINDS = ("done", "booked", "missed", "next")


def chart(rows: Sequence[IntervalFacts], frame: Frame) -> Chart:
    """Facts -> figure and table. The table has one line for each mark and each window."""
    ordered = intervals_in_order(rows)
    shown = drawn([r for r in ordered if r.sprays or r.missed or r.window])
    lines = [line for r in ordered for line in _lines(r, frame)]
    return Chart(
        name="intervals",
        question=gettext("When is each block due for its next spray, and was a window missed?"),
        answer=_answer(ordered, frame),
        caption=gettext("Sprays and spray windows of each block, as of %(now)s") % {"now": frame.as_of},
        columns=(
            Column(key="block", title=gettext("Block")),
            Column(key="what", title=gettext("What")),
            Column(key="from", title=gettext("From")),
            Column(key="to", title=gettext("Through")),
            Column(key="job", title=gettext("Spray job")),
        ),
        rows=tuple(lines),
        draw=partial(_figure, shown, frame) if shown else None,
        notes=(look.only_first(MOST_DRAWN, len(ordered)),) if len(ordered) > MOST_DRAWN else (),
    )


def _names() -> dict[str, str]:
    return {
        "done": gettext("Sprayed"),
        "booked": gettext("Booked"),
        "missed": gettext("Missed window"),
        "next": gettext("Next window"),
    }


def _lines(row: IntervalFacts, frame: Frame) -> list[tuple[Cell, ...]]:
    """A line for each spray and each window of a block, by day."""
    names, none = _names(), Cell(value=None, text="–")
    found: list[tuple[str, str, Cell, Cell, Cell]] = []
    for mark in row.sprays:
        at = frame.instant(mark.at)
        found.append((str(at.value), "done" if mark.done else "booked", at, none, text(mark.ref)))
    windows = [("missed", w) for w in row.missed] + ([("next", row.window)] if row.window else [])
    for kind, window in windows:
        found.append((window.first_on.isoformat(), kind, day(window.first_on), day(window.last_on), none))
    found.sort(key=lambda line: line[:2])
    return [(text(row.block), Cell(value=kind, text=names[kind]), since, to, job) for _, kind, since, to, job in found]


def _answer(rows: Sequence[IntervalFacts], frame: Frame) -> str:
    said = []
    if missed := [r.block for r in rows if r.missed]:
        template = ngettext(
            "A window was missed on %(n)d block: %(names)s.",
            "Windows were missed on %(n)d blocks: %(names)s.",
            len(missed),
        )
        said.append(template % {"n": len(missed), "names": ", ".join(missed)})
    return " ".join([*said, _next(rows, frame.now.astimezone(frame.zone).date())])


def _next(rows: Sequence[IntervalFacts], today: date) -> str:
    ahead = next(((r.block, r.window) for r in rows if r.window is not None), None)
    if ahead is None:
        return gettext("No block has a next window on record.")
    block, window = ahead
    slots = {"block": block, "first": day(window.first_on).text, "last": day(window.last_on).text}
    if window.first_on <= today:
        return gettext("Open now: %(block)s, its window closes with %(last)s.") % slots
    return gettext("Next: %(block)s, its window goes from %(first)s through %(last)s.") % slots


def _figure(rows: Sequence[IntervalFacts], frame: Frame) -> go.Figure:
    missed = [(i, w) for i, r in enumerate(rows) for w in r.missed]
    ahead = [(i, r.window) for i, r in enumerate(rows) if r.window is not None]
    traces = [
        _windows(missed, "missed", look.fill(look.INK, "x")),
        _windows(ahead, "next", look.fill(look.BLUE, "/")),
        _marks(rows, "done", {"symbol": "diamond", "color": look.INK, "size": 15}, frame),
        _marks(rows, "booked", {"symbol": "diamond-open", "color": look.INK, "size": 15}, frame),
    ]
    figure = go.Figure([t for t in traces if t is not None])
    first, last = _edges(rows, frame)
    figure.layout = look.layout(
        rows=len(rows),
        xaxis=look.time_axis(frame, first, last),
        yaxis=look.rows_axis([r.block for r in rows]),
        shapes=[look.now_line(frame)],
        annotations=[look.now_word(frame)],
    )
    return figure


def _edges(rows: Sequence[IntervalFacts], frame: Frame) -> tuple[datetime, datetime]:
    """A day more than everything drawn needs on either side."""
    days = {m.at.astimezone(frame.zone).date() for r in rows for m in r.sprays} | {
        frame.now.astimezone(frame.zone).date()
    }
    for window in (w for r in rows for w in (*r.missed, *([r.window] if r.window else []))):
        days |= {window.first_on, window.last_on}
    first, last = min(days) - timedelta(days=1), max(days) + timedelta(days=2)
    return datetime.combine(first, time(), frame.zone), datetime.combine(last, time(), frame.zone)


def _windows(windows: Sequence[tuple[int, Days]], kind: str, marker: dict[str, Any]) -> go.Bar | None:
    if not windows:
        return None
    return go.Bar(
        orientation="h",
        name=look.plain(_names()[kind]),
        meta=kind,
        y=[place for place, _ in windows],
        base=[look.midnight(w.first_on) for _, w in windows],
        x=[look.days_ms(w) for _, w in windows],
        width=BAND,
        marker=marker,
        customdata=[[look.plain(day(d).text) for d in (w.first_on, w.last_on)] for _, w in windows],
        hovertemplate="%{customdata[0]} – %{customdata[1]}<extra>%{fullData.name}</extra>",
    )


def _marks(rows: Sequence[IntervalFacts], kind: str, marker: dict[str, Any], frame: Frame) -> go.Scatter | None:
    found = [(i, m) for i, r in enumerate(rows) for m in r.sprays if m.done is (kind == "done")]
    if not found:
        return None
    return go.Scatter(
        mode="markers",
        cliponaxis=False,
        name=look.plain(_names()[kind]),
        meta=kind,
        x=[frame.naive(m.at) for _, m in found],
        y=[place for place, _ in found],
        marker={**marker, "line": {"color": look.INK, "width": 2}},
        customdata=[[look.plain(m.ref), look.plain(frame.instant(m.at).text)] for _, m in found],
        hovertemplate="%{customdata[0]}: %{customdata[1]}<extra>%{fullData.name}</extra>",
    )
