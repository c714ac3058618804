"""Farm-local input to UTC, and what two clock changes a year do to it (IANA tz database)."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from farmops import clock
from farmops.errors import BadInput

LA = "America/Los_Angeles"


def test_ordinary_time_is_converted():
    assert clock.to_utc(datetime(2026, 6, 1, 9, 30), LA, field="t") == datetime(2026, 6, 1, 16, 30, tzinfo=UTC)


def test_the_hour_that_the_spring_change_skips_is_refused_by_field():
    with pytest.raises(BadInput) as caught:
        clock.to_utc(datetime(2026, 3, 8, 2, 30), LA, field="ended_at")
    assert list(caught.value.errors) == ["ended_at"]
    assert "does not exist" in caught.value.errors["ended_at"][0]


def test_the_hour_that_happens_twice_is_refused_until_chosen():
    twice = datetime(2026, 11, 1, 1, 30)
    with pytest.raises(BadInput) as caught:
        clock.to_utc(twice, LA, field="ended_at")
    assert "-0700 for the first or -0800 for the second" in caught.value.errors["ended_at"][0]
    assert clock.to_utc(twice, LA, field="t", fold=0) == datetime(2026, 11, 1, 8, 30, tzinfo=UTC)
    assert clock.to_utc(twice, LA, field="t", fold=1) == datetime(2026, 11, 1, 9, 30, tzinfo=UTC)


@pytest.mark.parametrize("name", ["", "Mars/Base", "../etc/passwd"])
def test_a_zone_that_is_none_is_refused(name):
    with pytest.raises(BadInput):
        clock.zone(name)
