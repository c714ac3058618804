"""What lies ahead of a spray, and when the next one is due: plain rules, no database."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from apps.products.rules import Rate, read_label
from apps.spraying.rules import Entry, Event, MixLine
from apps.spraying.rules.ahead import expected_harvest, midnight, nights_around
from apps.spraying.rules.interval import Phase, SprayWindow, next_window
from farmops.units import Quantity
from tests.factories.products import label_document

CHICAGO = ZoneInfo("America/Chicago")
START = datetime(2026, 9, 12, 13, tzinfo=UTC)  # 8 AM on 12 September
PICK = Entry(at=START + timedelta(days=2), activity="picking_by_hand", is_harvest=True)
PAST_PICK = Entry(at=START - timedelta(days=2), activity="picking_by_hand", is_harvest=True)
WEED = Entry(at=START + timedelta(days=2), activity="hand_labor")


@pytest.mark.parametrize(
    ("window", "entries", "expected"),
    [
        pytest.param((None, None), (), None, id="no window stated"),
        pytest.param((date(2026, 9, 20), None), (), midnight(date(2026, 9, 20), CHICAGO), id="ahead"),
        pytest.param((date(2026, 9, 20), None), (PICK,), midnight(date(2026, 9, 20), CHICAGO), id="ahead, scheduled"),
        pytest.param((date(2026, 9, 1), date(2026, 10, 1)), (), midnight(date(2026, 9, 13), CHICAGO), id="running"),
        pytest.param((date(2026, 9, 12), None), (), midnight(date(2026, 9, 13), CHICAGO), id="begins today"),
        pytest.param((date(2026, 9, 1), date(2026, 10, 1)), (PICK,), None, id="running, next picking scheduled"),
        pytest.param(
            (date(2026, 9, 1), date(2026, 10, 1)), (PAST_PICK, WEED), midnight(date(2026, 9, 13), CHICAGO),
            id="running, only other work scheduled",
        ),
        pytest.param((date(2026, 8, 1), date(2026, 9, 11)), (), None, id="over"),
        pytest.param((date(2026, 8, 1), date(2026, 9, 12)), (), midnight(date(2026, 9, 13), CHICAGO), id="last day"),
    ],
)  # fmt: skip
def test_when_picking_may_first_be_expected(window, entries, expected):
    found = expected_harvest(window[0], window[1], entries=entries, start_at=START, zone=CHICAGO)
    assert found == expected


def test_midnight_is_the_farms_own():
    assert midnight(date(2026, 9, 13), CHICAGO) == datetime(2026, 9, 13, 5, tzinfo=UTC)


def test_the_nights_around_a_day_hold_its_early_morning_and_late_evening():
    nights = nights_around(40.25, -86.25, date(2026, 7, 6), CHICAGO)

    def dark(hour: int, day: int = 6) -> bool:
        at = datetime(2026, 7, day, hour, tzinfo=CHICAGO)
        return any(n.starts_at <= at < n.ends_at for n in nights)

    # Sunrise about 4:25 and sunset about 19:20 CDT there in early July (from memory; 86 W keeps Central time here).
    assert [dark(h) for h in (0, 3, 6, 12, 18, 21, 23)] == [True, True, False, False, False, True, True]
    assert dark(3, 7)


def test_no_night_in_the_polar_summer_and_only_night_in_the_polar_winter():
    tromso = ZoneInfo("Europe/Oslo")
    assert nights_around(69.65, 18.96, date(2026, 6, 21), tromso) == ()
    winter = nights_around(69.65, 18.96, date(2026, 12, 21), tromso)
    noon = datetime(2026, 12, 21, 12, tzinfo=tromso)
    assert any(n.starts_at <= noon < n.ends_at for n in winter)


# ---- the next spray --------------------------------------------------------------------

FUNGICIDE = read_label(label_document())
HERBICIDE = read_label(label_document(kind="herbicide", groups=[]))


def spray(on: date, *, label=FUNGICIDE, done=True, site="winter_squash") -> Event:
    rate = Rate(quantity=Quantity(Decimal(5), "floz"))
    return Event(
        on_date=on, lines=(MixLine(product_id=1, name="P", rate=rate, label=label),), site_code=site, done=done
    )


TODAY = date(2026, 7, 20)


def window(*events: Event, today: date = TODAY, days=(7, 10), site="winter_squash") -> SprayWindow | None:
    return next_window(events, site_code=site, today=today, from_days=days[0], to_days=days[1])


@pytest.mark.parametrize(
    ("found", "expected"),
    [
        pytest.param(window(), None, id="never sprayed"),
        pytest.param(window(spray(date(2026, 7, 6))), (date(2026, 7, 13), date(2026, 7, 16)), id="farm's usual days"),
        pytest.param(
            window(spray(date(2026, 7, 6)), days=(3, 5)),
            (date(2026, 7, 13), date(2026, 7, 13)),
            id="label's 7 days win",
        ),
        pytest.param(
            window(spray(date(2026, 7, 6)), spray(date(2026, 7, 14))),
            (date(2026, 7, 21), date(2026, 7, 24)),
            id="last one",
        ),
        pytest.param(window(spray(date(2026, 7, 6), label=HERBICIDE)), None, id="no fungicide"),
        pytest.param(window(spray(date(2026, 7, 6), site="sweet_corn")), None, id="another crop"),
        pytest.param(window(spray(date(2026, 7, 6), done=False)), None, id="only booked"),
        pytest.param(window(spray(date(2026, 7, 6)), spray(TODAY, done=False)), None, id="the next is booked"),
        pytest.param(
            window(spray(date(2026, 7, 6)), spray(date(2026, 7, 15), done=False)),
            (date(2026, 7, 13), date(2026, 7, 16)),
            id="a booking that passed",
        ),
        pytest.param(window(spray(date(2026, 5, 1))), None, id="ended long ago"),
        pytest.param(window(spray(date(2026, 7, 6)), site=None), None, id="nothing grows there"),
    ],
)
def test_the_window_of_the_next_spray(found, expected):
    assert (found and (found.opens_on, found.closes_on)) == expected


@pytest.mark.parametrize(
    ("today", "phase"),
    [
        (date(2026, 7, 12), None),
        (date(2026, 7, 13), Phase.OPEN),
        (date(2026, 7, 14), Phase.OPEN),
        (date(2026, 7, 15), Phase.CLOSING),
        (date(2026, 7, 16), Phase.CLOSING),
        (date(2026, 7, 17), Phase.MISSED),
    ],
    ids=str,
)
def test_where_today_stands_in_it(today, phase):
    row = SprayWindow(last_on=date(2026, 7, 6), opens_on=date(2026, 7, 13), closes_on=date(2026, 7, 16))
    assert row.phase(today) is phase


def test_a_window_of_one_day_closes_on_it_and_not_the_day_before():
    row = SprayWindow(last_on=date(2026, 7, 6), opens_on=date(2026, 7, 13), closes_on=date(2026, 7, 13))
    assert [row.phase(date(2026, 7, d)) for d in (12, 13, 14)] == [None, Phase.CLOSING, Phase.MISSED]
