"""How every chart looks: black on white, at least 14 px, patterns beside colours, no tool bar.

Colours are from the palette of Wong (Nature Methods 8:441, 2011) and reach 3:1 on white (WCAG
1.4.11); the board's red and green are never used for data.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

import plotly.graph_objects as go
from django.utils.formats import date_format
from django.utils.translation import get_language, gettext

from apps.dashboard.charts.table import Frame
from apps.dashboard.rules import Days, Span

BLUE, VERMILLION, GREEN, PURPLE, INK = "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000"
FONT_PX = 15
ROW_PX = 62
MOST_TICKS = 6
MS = timedelta(milliseconds=1)
ASIDE = "aside"
"""Name of words beside a bar that only repeat the table: a narrow drawing leaves them out."""
NOW_LINE = {"color": INK, "width": 3, "dash": "dot"}


def plain(words: object) -> str:
    """Text for a figure: the plotting script reads a little HTML in labels, so names must not be any."""
    return html.escape(str(words), quote=False)


def fill(color: str, shape: str = "") -> dict[str, Any]:
    """A bar's filling: colour and pattern say the same thing twice, so a grey print still tells them apart."""
    marker: dict[str, Any] = {"color": color, "line": {"color": INK, "width": 2}}
    if shape:
        marker["pattern"] = {"shape": shape, "fillmode": "replace", "size": 9, "solidity": 0.35, "bgcolor": "#FFFFFF"}
        marker["pattern"]["fgcolor"] = color
    return marker


def hollow() -> dict[str, Any]:
    return {"color": "#FFFFFF", "line": {"color": INK, "width": 2}}


def rows_axis(names: Sequence[str | Sequence[str]]) -> dict[str, Any]:
    """One place a row, the first on top; numbers below the names, so that two equal names stay two rows.

    A name of several parts stands on several lines.
    """
    return {
        "tickmode": "array",
        "tickvals": list(range(len(names))),
        "ticktext": [plain(n) if isinstance(n, str) else "<br>".join(plain(part) for part in n) for n in names],
        "range": [len(names) - 0.5, -0.5],
        "automargin": True,
        "fixedrange": True,
        "zeroline": False,
        "showgrid": False,
    }


def layout(*, rows: int, xaxis: dict[str, Any], yaxis: dict[str, Any], **more: Any) -> go.Layout:
    """The layout all charts share."""
    return go.Layout(
        template="none",
        font={"size": FONT_PX, "color": INK, "family": "system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif"},
        paper_bgcolor="#FFFFFF",
        plot_bgcolor="#FFFFFF",
        height=ROW_PX * max(rows, 2) + 150,
        margin={"l": 8, "r": 16, "t": 56, "b": 64},
        barmode="overlay",
        dragmode=False,
        hoverlabel={"font": {"size": FONT_PX}},
        legend={"orientation": "h", "y": 1, "yanchor": "bottom", "x": 0, "font": {"size": FONT_PX}},
        showlegend=True,
        xaxis={"fixedrange": True, "automargin": True, **xaxis},
        yaxis=yaxis,
        **more,
    )


def time_axis(frame: Frame, first: datetime, last: datetime) -> dict[str, Any]:
    """Days of the farm as ticks, worded in the reader's language; times are naive farm-local texts."""
    days = max(1, (last.astimezone(frame.zone).date() - first.astimezone(frame.zone).date()).days)
    step = -(-days // MOST_TICKS)
    start = first.astimezone(frame.zone).date()
    ticks = [start + timedelta(days=step * n) for n in range(1 if days > 1 else 0, days // step + 1)]
    return {
        "type": "date",
        "range": [frame.naive(first), frame.naive(last)],
        "tickmode": "array",
        "tickvals": [midnight(t) for t in ticks],
        "ticktext": [short_day(t) for t in ticks],
        "title": axis_title(frame.zone_title),
        "tickangle": 0,
        "showgrid": True,
        "gridcolor": "#767676",
    }


def short_day(value: date) -> str:
    """``Jun 3`` / ``3 jun``."""
    if (get_language() or "").startswith("es"):
        return date_format(value, "j M").lower()
    return date_format(value, "M j")


def axis_title(words: str) -> dict[str, Any]:
    return {"text": plain(words), "standoff": 12, "font": {"size": FONT_PX}}


def now_line(frame: Frame) -> dict[str, Any]:
    at = frame.naive(frame.now)
    return {"type": "line", "x0": at, "x1": at, "y0": 0, "y1": 1, "yref": "paper", "line": NOW_LINE}


def now_word(frame: Frame) -> dict[str, Any]:
    """The word at the foot of the line that marks the present."""
    return {
        "x": frame.naive(frame.now),
        "y": 0,
        "yref": "paper",
        "yanchor": "bottom",
        "xanchor": "left",
        "text": plain(gettext("now")),
        "showarrow": False,
        "bgcolor": "#FFFFFF",
    }


def drawn_ms(frame: Frame, span: Span, edge: datetime) -> float:
    """Length of a bar in wall-clock milliseconds, so that its end is drawn at the farm-local end time.

    Over a clock change that is not the elapsed time: the table and the words carry that. A span without
    an end goes to the edge; one that the autumn change turns round is drawn one minute long.
    """
    ends_at = span.ends_at or edge
    start, end = (datetime.fromisoformat(frame.naive(at)) for at in (span.starts_at, ends_at))
    return max((end - start) / MS, 60_000.0)


def midnight(day: date) -> str:
    """The beginning of a farm day, as an axis of times reads it."""
    return f"{datetime.combine(day, time()):%Y-%m-%d %H:%M:%S}"


def days_ms(days: Days) -> float:
    """Length of a stretch of whole days, the last one counted in, in wall-clock milliseconds."""
    return (days.last_on - days.first_on + timedelta(days=1)) / MS


def only_first(most: int, count: int) -> str:
    """Says what is left out of the drawing."""
    return gettext("The drawing shows the first %(most)d of %(count)d rows; the table shows all.") % {
        "most": most,
        "count": count,
    }
