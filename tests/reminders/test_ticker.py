"""The ticker and sweeps as real processes on a real database, mailing to a real (small) mail server."""

from __future__ import annotations

import logging
import signal
import time
from datetime import time as time_of_day
from datetime import timedelta

import pytest

from apps.reminders import services
from apps.reminders.models import Preference
from farmops import clock
from farmops.management.commands.run_ticker import Ticker
from tests.factories.land import BlockFactory
from tests.factories.people import MembershipFactory, PersonFactory
from tests.factories.work import TaskFactory

TOLD = (
    "SELECT n.kind, n.subject_id, n.occasion, count(*), count(CASE WHEN l.outcome = 'sent' THEN 1 END), "
    "max(l.attempts) FROM reminders_notice n LEFT JOIN reminders_letter l ON l.id = n.letter_id GROUP BY 1, 2, 3"
)


@pytest.fixture
def due_tasks(cast) -> list[int]:
    """Twelve tasks that begin within the hour, for as many people with an address, who are never quiet."""
    block = BlockFactory(farm=cast.farm)
    starts_at = clock.now() + timedelta(minutes=50)
    given = {"farm": cast.farm, "block": block, "planned_by_id": cast.manager.person_id, "starts_at": starts_at}
    return [TaskFactory(assigned_to_id=wakeful(cast.farm, n), **given).pk for n in range(12)]


def wakeful(farm, number: int) -> int:
    person = PersonFactory(email=f"crew{number}@farm.example")
    MembershipFactory(farm=farm, person=person, is_staff_member=True)
    Preference.objects.add(farm=farm, person=person, quiet_from=time_of_day(0), quiet_to=time_of_day(0))
    return person.pk


def told(elsewhere) -> list[tuple[object, ...]]:
    """(task, how many notices, how many sent, most tries), by task."""
    rows = [row for row in elsewhere.look(TOLD) if row[0] == "task_coming"]
    return sorted((int(str(row[1])), *row[3:]) for row in rows)


def test_sweeps_at_once_in_several_processes_tell_each_once(elsewhere, due_tasks):
    elsewhere.open_book()
    for sweep in [elsewhere.manage("run_ticker", "--once") for _ in range(3)]:
        assert sweep.wait(60) == 0, elsewhere.said()
    assert told(elsewhere) == [(task, 1, 1, 1) for task in sorted(due_tasks)]
    sent = [letter["Message-ID"] for letter in elsewhere.office.letters]
    assert (len(sent), len(set(sent))) == (12, 12)


def test_two_tickers_are_harmless_and_stop_within_a_second(elsewhere, due_tasks):
    elsewhere.open_book()
    tickers = [elsewhere.manage("run_ticker") for _ in range(2)]
    elsewhere.wait(lambda: len(elsewhere.office.taken) == 12)
    elsewhere.wait(lambda: elsewhere.said().count("Ticker: a sweep every 1 s.") == 2)
    assert elsewhere.look("SELECT count(*) FROM reminders_lease") == [(1,)]
    time.sleep(2.5)  # more rounds, nothing new
    for ticker in tickers:
        begun = time.monotonic()
        ticker.send_signal(signal.SIGTERM)
        assert ticker.wait(10) == 0
        assert time.monotonic() - begun < 1.5  # a second, and what the machine needs to notice
    assert told(elsewhere) == [(task, 1, 1, 1) for task in sorted(due_tasks)]
    assert len(elsewhere.office.taken) == 12
    assert elsewhere.look("SELECT count(*) FROM reminders_lease") == [(0,)]


def test_it_stops_within_a_second_while_the_mail_server_hangs(elsewhere, due_tasks):
    elsewhere.open_book()
    elsewhere.office.stuck_at = "DATA"
    ticker = elsewhere.manage("run_ticker")
    elsewhere.wait(elsewhere.office.reached.is_set)
    begun = time.monotonic()
    ticker.send_signal(signal.SIGTERM)
    assert ticker.wait(10) == 0
    assert time.monotonic() - begun < 1.5


def test_what_was_being_sent_when_it_was_killed_goes_out_after_the_lease_and_once(elsewhere, due_tasks):
    elsewhere.open_book()
    elsewhere.office.stuck_at = "DATA"
    ticker = elsewhere.manage("run_ticker")
    elsewhere.wait(elsewhere.office.reached.is_set)
    elsewhere.kill(ticker)
    elsewhere.office.stuck_at = ""
    assert elsewhere.manage("run_ticker", "--once").wait(60) == 0
    claimed = [row for row in told(elsewhere) if row[2] == 0]
    assert (len(claimed), len(elsewhere.office.taken)) == (1, 11)
    elsewhere.lease_over()
    assert elsewhere.manage("run_ticker", "--once").wait(60) == 0
    assert [row[:3] for row in told(elsewhere)] == [(task, 1, 1) for task in sorted(due_tasks)]
    sent = [letter["Message-ID"] for letter in elsewhere.office.letters]
    assert (len(sent), len(set(sent))) == (12, 12)


def test_a_failing_round_is_logged_and_the_next_one_follows(db, monkeypatch, caplog):
    rounds = []

    def fails(now, machine):
        rounds.append(now)
        if len(rounds) == 3:
            ticker.stopping.set()
        raise LookupError("no such gate")

    monkeypatch.setattr(services, "sweep", fails)
    monkeypatch.setattr("farmops.management.commands.run_ticker.close_old_connections", lambda: None)
    monkeypatch.setattr("farmops.management.commands.run_ticker.connection.close", lambda: None)
    ticker = Ticker(0)
    with caplog.at_level(logging.ERROR):
        ticker.rounds()
    assert len(rounds) == 3
    assert [r.getMessage() for r in caplog.records] == ["a sweep failed; the next one follows in 0 s"] * 3


def test_a_lease_is_held_by_one_renewed_by_it_and_free_when_over(db):
    now, length = clock.now(), timedelta(seconds=30)

    def hold(who: str, after: int) -> bool:
        return services.hold_lease(name="ticker", holder=who, length=length, now=now + timedelta(seconds=after))

    assert [hold("a", 0), hold("b", 1), hold("a", 20), hold("b", 40), hold("b", 50)] == [True, False, True, False, True]
    services.release_lease(name="ticker", holder="a")  # not a's any more
    assert hold("a", 51) is False
    services.release_lease(name="ticker", holder="b")
    assert hold("a", 52) is True
