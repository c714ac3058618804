"""Times in words, in both languages. Relative times are never shorter than the truth."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from functools import lru_cache
from zoneinfo import ZoneInfo

_DAYS = {
    "en": ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"],
    "es": ["lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"],
}
_MONTHS = {
    "en": ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"],
    "es": [
        "enero",
        "febrero",
        "marzo",
        "abril",
        "mayo",
        "junio",
        "julio",
        "agosto",
        "septiembre",
        "octubre",
        "noviembre",
        "diciembre",
    ],
}


def _language(code: str | None) -> str:
    return "es" if (code or "").startswith("es") else "en"


def clock_time(local: dt.datetime, language: str | None) -> str:
    """``9:30 AM`` / ``9:30 a.m.``; 12:00 is noon / mediodía, 0:00 midnight / medianoche."""
    code = _language(language)
    if local.minute == 0 and local.hour in {0, 12}:
        words = {"en": ("midnight", "noon"), "es": ("medianoche", "mediodía")}
        return words[code][local.hour // 12]
    half = ("AM", "PM") if code == "en" else ("a.m.", "p.m.")
    return f"{local.hour % 12 or 12}:{local.minute:02d} {half[local.hour // 12]}"


def date(value: dt.date, language: str | None) -> str:
    """``Wed, Jun 3, 2026`` / ``miércoles 3 de junio de 2026``."""
    code = _language(language)
    weekday, month = _DAYS[code][value.weekday()], _MONTHS[code][value.month - 1]
    if code == "es":
        return f"{weekday} {value.day} de {month} de {value.year}"
    return f"{weekday}, {month} {value.day}, {value.year}"


@lru_cache(maxsize=4096)
def instant(value: dt.datetime, zone_name: str, language: str | None, *, brief: bool = False) -> str:
    """``Wed, Jun 3, 9:30 AM CDT`` / ``miércoles 3 de junio, 9:30 a.m. CDT`` in the farm's zone.

    ``brief``: ``mié 3 de jun, 9:30 a.m. CDT``, as short as the English, for the first screen of a phone.
    """
    code = _language(language)
    local = value.astimezone(ZoneInfo(zone_name))
    weekday, month = _DAYS[code][local.weekday()], _MONTHS[code][local.month - 1]
    if brief:
        weekday, month = weekday[:3], month[:3]
    day = f"{weekday} {local.day} de {month}" if code == "es" else f"{weekday}, {month} {local.day}"
    return f"{day}, {clock_time(local, code)} {local.tzname()}"


def remaining(until: dt.timedelta, language: str | None) -> str:
    """``1 day 3 h``, ``3 h``, ``12 min``: rounded up, so never shorter than the truth."""
    minutes = max(0, math.ceil(until.total_seconds() / 60))
    if minutes < 60:
        return f"{minutes} min"
    hours = math.ceil(minutes / 60)
    days, rest = divmod(hours, 24)
    if not days:
        return f"{hours} h"
    word = ("day" if days == 1 else "days") if _language(language) == "en" else ("día" if days == 1 else "días")
    return f"{days} {word} {rest} h" if rest else f"{days} {word}"


def stamp(value: dt.datetime, zone_name: str) -> str:
    """An instant as text for a finding's numbers; ``fill`` words it in the reader's language."""
    return f"{value.astimezone(dt.UTC).isoformat()}@{zone_name}"


_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_STAMP = re.compile(r"(\d{4}-\d{2}-\d{2}T[\d:.]+\+00:00)@([A-Za-z_/+-]+\d*)")


def _worded(number: str, language: str | None) -> str:
    try:
        if _DATE.fullmatch(number):
            return date(dt.date.fromisoformat(number), language)
        if match := _STAMP.fullmatch(number):
            return instant(dt.datetime.fromisoformat(match[1]), match[2], language)
    except ValueError:  # what somebody typed looks like a day and is none: said as typed
        pass
    return number


def fill(template: str, numbers: Mapping[str, str], language: str | None) -> str:
    """A sentence with its slots filled: dates (``2026-06-03``) and stamps become words."""
    return template.format(**{name: _worded(str(value), language) for name, value in numbers.items()})
