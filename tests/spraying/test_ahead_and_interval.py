"""What lies ahead of a spray, and when the next one is due: plain rules, no database."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from apps.products.rules import Rate, read_label
from apps.spraying.rules import Entry, Event, MixLine
from apps.spraying.rules.ahead import dusk_on, expected_harvest, midnight, nights_around
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
        pytest.param(
            (date(2026, 9, 1), None), (Entry(at=START, activity="picking_by_hand", is_harvest=True),), None,
            id="running, picking scheduled for the very start",
        ),
        pytest.param((date(2026, 8, 1), date(2026, 9, 11)), (), None, id="over"),
        pytest.param((date(2026, 8, 1), date(2026, 9, 12)), (), midnight(date(2026, 9, 13), CHICAGO), id="last day"),
    ],
)  # fmt: skip
def test_when_picking_may_first_be_expected(window, entries, expected):
    found = expected_harvest(window[0], window[1], entries=entries, start_at=START, zone=CHICAGO)
    assert found == expected


def test_the_day_of_a_late_evening_is_the_farms_not_utc():
    """10:30 PM on 12 September is 13 September in UTC; picking from the 13th is still a day ahead."""
    late = datetime(2026, 9, 12, 22, 30, tzinfo=CHICAGO)
    found = expected_harvest(date(2026, 9, 13), None, entries=(), start_at=late, zone=CHICAGO)
    assert found == midnight(date(2026, 9, 13), CHICAGO)


def test_midnight_is_the_farms_own():
    assert midnight(date(2026, 9, 13), CHICAGO) == datetime(2026, 9, 13, 5, tzinfo=UTC)


def test_the_nights_around_a_day_hold_its_early_morning_and_late_evening():
    nights = nights_around(40.25, -86.25, date(2026, 7, 6), CHICAGO)

    def dark(hour: int, day: int = 6) -> bool:
        at = datetime(2026, 7, day, hour, tzinfo=CHICAGO)
        return any(n.starts_at <= at < n.ends_at for n in nights)

    # Sunrise 5:22 and sunset 20:17 CDT there in early July (worked out below; 86 W keeps Central time here).
    assert [dark(h) for h in (0, 3, 6, 12, 18, 21, 23)] == [True, True, False, False, False, True, True]
    assert dark(3, 7)


def test_three_nights_from_sunset_to_sunrise():
    """Worked by hand for 6 July: noon 17:45 UTC at 86.25 W and 4.7 min equation of time; declination 22.7 degrees, so
    the sun is at -0.833 degrees 111.9 degrees = 7 h 27 min from noon: sets 20:17, rises 5:22 CDT. A minute either way.
    """
    nights = nights_around(40.25, -86.25, date(2026, 7, 6), CHICAGO)
    assert len(nights) == 3
    for night, evening in zip(nights, (5, 6, 7), strict=True):
        sets_at = datetime(2026, 7, evening, 20, 17, tzinfo=CHICAGO)
        rises_at = datetime(2026, 7, evening + 1, 5, 22, tzinfo=CHICAGO)
        assert abs(night.starts_at - sets_at) <= timedelta(minutes=2)
        assert abs(night.ends_at - rises_at) <= timedelta(minutes=2)


def test_the_day_of_a_night_is_the_farms_own_on_the_far_side_of_the_date_line():
    """Line Islands, UTC+14 at 157.4 W: local noon falls on the day before in UTC."""
    line = ZoneInfo("Pacific/Kiritimati")
    nights = nights_around(1.87, -157.4, date(2026, 7, 6), line)
    starts = [n.starts_at.astimezone(line) for n in nights]
    assert [(t.date(), t.hour) for t in starts] == [(date(2026, 7, day), 18) for day in (5, 6, 7)]


def test_dusk_is_the_end_of_civil_twilight_in_the_evening():
    """Same day and place: -6 degrees is 120.1 degrees = 8 h 0 min from noon at 12:50 CDT, so 8:50 PM."""
    found = dusk_on(40.25, -86.25, date(2026, 7, 6), CHICAGO)
    assert abs(found - datetime(2026, 7, 6, 20, 50, tzinfo=CHICAGO)) <= timedelta(minutes=2)
    assert dusk_on(69.65, 18.96, date(2026, 6, 21), ZoneInfo("Europe/Oslo")) is None


def test_dusk_of_the_farms_own_day():
    line = ZoneInfo("Pacific/Kiritimati")
    assert dusk_on(1.87, -157.4, date(2026, 7, 6), line).astimezone(line).date() == date(2026, 7, 6)


def test_no_night_in_the_polar_summer_and_only_night_in_the_polar_winter():
    tromso = ZoneInfo("Europe/Oslo")
    assert nights_around(69.65, 18.96, date(2026, 6, 21), tromso) == ()
    winter = nights_around(69.65, 18.96, date(2026, 12, 21), tromso)
    days = [datetime(2026, 12, day, tzinfo=tromso) for day in (20, 21, 22, 23)]
    assert [(n.starts_at, n.ends_at) for n in winter] == list(zip(days[:-1], days[1:], strict=True))


def test_a_sunset_without_a_sunrise_is_no_night():
    """The last sunset before the midnight sun of Tromso, 17 May 2026 (from the sun's own sums): fails closed."""
    nights = nights_around(69.65, 18.96, date(2026, 5, 17), ZoneInfo("Europe/Oslo"))
    assert [n.ends_at.astimezone(ZoneInfo("Europe/Oslo")).date() for n in nights] == [date(2026, 5, 17)]


# ---- the next spray --------------------------------------------------------------------

FUNGICIDE = read_label(label_document())
HERBICIDE = read_label(label_document(kind="herbicide", groups=[]))


def spray(on: date, *, label=FUNGICIDE, done=True, site="winter_squash") -> Event:
    rate = Rate(quantity=Quantity(Decimal(5), "floz"))
    return Event(
        on_date=on, lines=(MixLine(product_id=1, name="P", rate=rate, label=label),), site_code=site, done=done
    )


def both(event: Event, *labels) -> Event:
    """The same spray with a product of each label in the tank."""
    return replace(event, lines=tuple(replace(event.lines[0], product_id=n, label=row) for n, row in enumerate(labels)))


TODAY = date(2026, 7, 20)


def window(*events: Event, today: date = TODAY, days=(7, 10), site="winter_squash") -> SprayWindow | None:
    return next_window(events, site_code=site, today=today, from_days=days[0], to_days=days[1])


def days(last: str, opens: str, closes: str) -> SprayWindow:
    rows = {"last_on": last, "opens_on": opens, "closes_on": closes}
    return SprayWindow(**{name: date.fromisoformat(f"2026-{day}") for name, day in rows.items()})


LONG = read_label(label_document(uses=[{**label_document()["uses"][0], "min_interval_days": 9}]))
SILENT = read_label(label_document(uses=[{**label_document()["uses"][0], "min_interval_days": None}]))
JULY_6 = spray(date(2026, 7, 6))
WINDOWS = [
    # last spray on 6 July, the farm's 7 to 10 days, label's shortest interval 7; asked on 20 July
    ("never_sprayed", (), {}, None),
    ("farms_usual_days", (JULY_6,), {}, days("07-06", "07-13", "07-16")),
    ("labels_days_win", (JULY_6,), {"days": (3, 5)}, days("07-06", "07-13", "07-13")),
    ("longest_label_of_the_tank", (both(JULY_6, LONG, FUNGICIDE),), {}, days("07-06", "07-15", "07-16")),
    ("label_without_an_interval", (spray(date(2026, 7, 6), label=SILENT),), {"days": (3, 5)},
     days("07-06", "07-09", "07-11")),
    ("the_last_one", (spray(date(2026, 7, 14)), JULY_6), {}, days("07-14", "07-21", "07-24")),
    ("done_today", (JULY_6, spray(TODAY)), {}, days("07-20", "07-27", "07-30")),
    ("dated_tomorrow_is_not_done", (JULY_6, spray(date(2026, 7, 21))), {}, days("07-06", "07-13", "07-16")),
    ("no_fungicide", (spray(date(2026, 7, 6), label=HERBICIDE),), {}, None),
    ("no_label", (spray(date(2026, 7, 6), label=None),), {}, None),
    ("fungicide_beside_another", (both(JULY_6, HERBICIDE, FUNGICIDE),), {}, days("07-06", "07-13", "07-16")),
    ("another_crop", (spray(date(2026, 7, 6), site="sweet_corn"),), {}, None),
    ("only_booked", (spray(date(2026, 7, 6), done=False),), {}, None),
    ("the_next_is_booked", (JULY_6, spray(TODAY, done=False)), {}, None),
    ("a_booking_that_passed", (JULY_6, spray(date(2026, 7, 19), done=False)), {}, days("07-06", "07-13", "07-16")),
    ("a_booking_on_another_crop", (JULY_6, spray(TODAY, done=False, site="sweet_corn")), {},
     days("07-06", "07-13", "07-16")),
    ("sixty_days_ago", (spray(date(2026, 5, 21)),), {}, days("05-21", "05-28", "05-31")),
    ("sixty_one_days_ago", (spray(date(2026, 5, 20)),), {}, None),
    ("nothing_grows_there", (JULY_6,), {"site": None}, None),
    ("nothing_grew_or_grows_there", (spray(date(2026, 7, 6), site=None),), {"site": None}, None),
]  # fmt: skip


@pytest.mark.parametrize(("events", "asked", "expected"), [r[1:] for r in WINDOWS], ids=[r[0] for r in WINDOWS])
def test_the_window_of_the_next_spray(events, asked, expected):
    assert window(*events, **asked) == expected


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
