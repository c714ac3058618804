"""Times in words: never all digits, never shorter than the truth."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from farmops import wording


@pytest.mark.parametrize(
    ("left", "en", "es"),
    [
        (timedelta(hours=26, minutes=59), "1 day 3 h", "1 día 3 h"),
        (timedelta(hours=26), "1 day 2 h", "1 día 2 h"),
        (timedelta(minutes=59, seconds=1), "1 h", "1 h"),
        (timedelta(minutes=11, seconds=1), "12 min", "12 min"),
        (timedelta(hours=48), "2 days", "2 días"),
        (timedelta(seconds=-5), "0 min", "0 min"),
    ],
)
def test_relative_time_is_rounded_up(left, en, es):
    assert (wording.remaining(left, "en"), wording.remaining(left, "es")) == (en, es)


def test_instants_carry_weekday_month_half_day_and_zone():
    at = datetime(2026, 6, 3, 14, 30, tzinfo=UTC)
    assert wording.instant(at, "America/Chicago", "en") == "Wed, Jun 3, 9:30 AM CDT"
    assert wording.instant(at, "America/Chicago", "es") == "miércoles 3 de junio, 9:30 a.m. CDT"
    assert wording.instant(at, "America/Chicago", "en", brief=True) == "Wed, Jun 3, 9:30 AM CDT"
    assert wording.instant(at, "America/Chicago", "es", brief=True) == "mié 3 de jun, 9:30 a.m. CDT"


def test_noon_and_midnight_are_words():
    noon = datetime(2026, 6, 3, 17, 0, tzinfo=UTC)
    assert wording.instant(noon, "America/Chicago", "en") == "Wed, Jun 3, noon CDT"
    assert wording.instant(noon + timedelta(hours=12), "America/Chicago", "es") == "jueves 4 de junio, medianoche CDT"


@pytest.mark.parametrize("typed", ["2026-02-30", "2026-13-01", "0000-01-01"])
def test_what_looks_like_a_day_and_is_none_is_said_as_typed(typed):
    assert wording.fill("There is no such day: {typed}.", {"typed": typed}, "en") == f"There is no such day: {typed}."
