"""Who saw what: answers are kept if the farm wants it, and a later record that speaks against a yes is told at once.

Cases B15 with B17 (40 CFR 170.309(f); project rule), a late report, and a start that comes before a yes is over.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
import time_machine

from apps.reminders.models import Notice
from apps.safety import services
from apps.safety.rules import (
    Activity,
    Closure,
    Kind,
    LiftReason,
    Reason,
    for_finish,
    for_signature,
    for_start,
    for_window,
)
from apps.safety.seen.models import AnswerGiven, PossibleExposure
from apps.safety.seen.rules import Yes, contradicted
from apps.work import services as work
from tests.factories.land import BlockFactory, square
from tests.factories.training import TrainingFactory
from tests.factories.work import TaskFactory
from tests.safety.board import CHICAGO, HALF_PAST_NINE, local, rei

START, NOW = local("06-01 08:00"), local("06-02 12:00")
RUNS_TO = local("06-02 11:15")
PART = square(-86.25, 40.25, 0.001)


def closure(**more) -> Closure:
    facts = {"kind": Kind.ENTRY, "reason_code": Reason.REI, "starts_at": START, "ends_at": RUNS_TO}
    return Closure(id=1, block_id=1, **{**facts, **more})


def yes(begin: str, end: str, **more) -> Yes:
    return Yes(id=7, about_at=local(begin), good_until=local(end), **more)


AGAINST = [
    ("in the middle", {}, yes("06-02 10:00", "06-02 10:30"), True),
    ("from the end on", {}, yes("06-02 11:15", "06-02 11:45"), False),
    ("a minute before the end", {}, yes("06-02 11:14", "06-02 11:44"), True),
    ("up to the start", {}, yes("06-01 07:30", "06-01 08:00"), False),
    ("into the start", {}, yes("06-01 07:31", "06-01 08:01"), True),
    ("no end at all", {"ends_at": None, "reason_code": Reason.REI_MISSING}, yes("06-02 11:40", "06-02 12:10"), True),
    ("other work", {"activities": frozenset({"picking_by_hand"})},
     yes("06-02 10:00", "06-02 10:30", activity=Activity.IRRIGATION), False),
    ("that work", {"activities": frozenset({"picking_by_hand"})},
     yes("06-02 10:00", "06-02 10:30", activity=Activity.PICKING_BY_HAND), True),
    ("the rest of a block", {"part": PART}, yes("06-02 10:00", "06-02 10:30", rest=True), False),
    ("the block with a part", {"part": PART}, yes("06-02 10:00", "06-02 10:30"), True),
    ("a wait before harvest", {"kind": Kind.HARVEST, "reason_code": Reason.PHI}, yes("06-02 10:00", "06-02 10:30"),
     False),
    ("a plan", {"kind": Kind.PLANNED, "reason_code": Reason.WINDOW}, yes("06-02 10:00", "06-02 10:30"), False),
    ("a job next door", {"kind": Kind.ZONE, "reason_code": Reason.ZONE, "ends_at": None},
     yes("06-02 10:00", "06-02 10:30"), True),
]  # fmt: skip


@pytest.mark.parametrize(("facts", "answer", "against"), [c[1:] for c in AGAINST], ids=[c[0] for c in AGAINST])
def test_which_answers_a_closure_speaks_against(facts, answer, against):
    assert (contradicted(closure(**facts), [answer], now=NOW) == [answer]) is against


# ---- through the services -----------------------------------------------------------------

pytest_db = pytest.mark.django_db


@pytest.fixture
def block(cast):
    cast.farm.keep_answers = True
    cast.farm.save()
    return BlockFactory(farm=cast.farm, name="River piece", code="R1")


def job(cast, block, *, start=START, end=HALF_PAST_NINE, hours=24) -> dict:
    """A signed job with a 24 h interval; gives what a correction needs."""
    step = {"farm": cast.farm, "member": cast.applicator, "source": "job:1"}
    ids, window_end = [block.pk], end + timedelta(minutes=30)
    plan = for_window(ids, starts_at=start, ends_at=window_end, products=["Demo Shield"])
    services.hang_closures(**step, closures=plan, now=start - timedelta(days=1))
    underway = for_start(ids, started_at=start, window_ends_at=window_end, products=["Demo Shield"])
    services.replace_closures(**step, kinds=[Kind.PLANNED], closures=underway, reason=LiftReason.STARTED, now=start)
    done = for_finish(ids, started_at=start, ended_at=end, intervals=[rei(hours)])
    services.replace_closures(**step, kinds=[Kind.UNDERWAY], closures=done, reason=LiftReason.FINISHED, now=end)
    services.replace_closures(
        **step, kinds=[Kind.UNCONFIRMED], closures=final(block, start, end, hours), reason=LiftReason.SIGNED, now=end
    )
    return step


def final(block, start, end, hours):
    return for_signature(
        block.pk, started_at=start, ended_at=end, intervals=[rei(hours, product="Demo Shield")], waits=None, zone=CHICAGO  # noqa: E501
    )  # fmt: skip


def ask(browser_client, member, block, at):
    with time_machine.travel(at, tick=False):
        return browser_client(member).get(f"/f/{block.farm.slug}/blocks/{block.pk}/may-i-enter/")


def correct(step, block, end, now):
    services.replace_closures(
        **step, kinds=[Kind.ENTRY], closures=final(block, START, end, 24), reason=LiftReason.LENGTHENED, now=now
    )


@pytest_db
def test_b17_a_later_end_is_told_at_once_to_the_managers_with_everybody_who_had_a_yes(cast, block, browser_client):
    step = job(cast, block)
    ask(browser_client, cast.staff, block, local("06-02 09:00"))  # still no
    ask(browser_client, cast.staff, block, local("06-02 10:00"))  # yes: 24 h after 9:30 have run
    assert list(AnswerGiven.rows.order_by("pk").values_list("answer", "how")) == [("no", "page"), ("yes", "page")]
    assert not PossibleExposure.rows.exists()
    correct(step, block, local("06-01 11:15"), local("06-02 10:20"))  # B15
    found = PossibleExposure.rows.get()
    assert [(p["name"], p["how"]) for p in found.people] == [("Ana Ruiz", "page")]
    assert (found.source, found.products, found.found_at) == ("job:1", ["Demo Shield"], local("06-02 10:20"))
    notice = Notice.rows.get(kind="possible_exposure")
    assert (notice.person_id, notice.urgent) == (cast.manager.person_id, True)
    with time_machine.travel(local("06-02 10:21"), tick=False):
        page = browser_client(cast.manager).get(notice.path).content.decode()
    for words in ("Ana Ruiz", "Get the people out of the ground now", "Call 911", "72 hours", 'href="tel:911"'):
        assert words in page, words
    assert AnswerGiven.rows.count() == 2


@pytest_db
def test_nobody_is_reported_twice_for_the_same_job(cast, block, browser_client):
    step = job(cast, block)
    ask(browser_client, cast.staff, block, local("06-02 10:00"))
    correct(step, block, local("06-01 11:15"), local("06-02 10:20"))
    correct(step, block, local("06-01 11:30"), local("06-02 10:25"))
    assert PossibleExposure.rows.count() == 1
    assert Notice.rows.filter(kind="possible_exposure").count() == 1


@pytest_db
def test_an_ordinary_job_reports_nobody(cast, block, browser_client):
    ask(browser_client, cast.staff, block, local("06-01 07:00"))
    job(cast, block)
    ask(browser_client, cast.staff, block, local("06-02 09:30"))
    assert list(AnswerGiven.rows.values_list("answer", flat=True)) == ["yes", "yes"]
    assert not PossibleExposure.rows.exists()


@pytest_db
def test_a_start_while_a_yes_is_still_good_is_told(cast, block, browser_client):
    """The job was given out after somebody had a yes that reaches into its window."""
    ask(browser_client, cast.staff, block, local("06-01 07:45"))
    step = {"farm": cast.farm, "member": cast.applicator, "source": "job:1"}
    now = local("06-01 08:00")
    underway = for_start([block.pk], started_at=now, window_ends_at=now + timedelta(hours=1), products=["Demo Shield"])
    services.hang_closures(**step, closures=underway, now=now)
    assert [p["name"] for p in PossibleExposure.rows.get().people] == ["Ana Ruiz"]


@pytest_db
def test_a_late_report_reports_who_was_told_yes_meanwhile(cast, block, browser_client):
    ask(browser_client, cast.staff, block, local("06-01 09:00"))
    done = for_finish([block.pk], started_at=START, ended_at=HALF_PAST_NINE, intervals=[rei(24)])
    step = {"farm": cast.farm, "member": cast.applicator, "source": "job:1"}
    services.hang_closures(**step, closures=done, now=local("06-01 15:00"))
    assert PossibleExposure.rows.get().block_id == block.pk


@pytest_db
def test_a_farm_that_does_not_keep_answers_keeps_those_behind_started_tasks(cast, block, browser_client):
    cast.farm.keep_answers = False
    cast.farm.save()
    step = job(cast, block)
    ask(browser_client, cast.staff, block, local("06-02 10:00"))
    assert not AnswerGiven.rows.exists()
    task = TaskFactory(
        farm=cast.farm, block=block, assigned_to_id=cast.staff.person_id, starts_at=local("06-02 10:00"),
        ends_at=local("06-02 12:00"),
    )  # fmt: skip
    TrainingFactory(farm=cast.farm, person_id=cast.staff.person_id, kind="worker", trained_on=date(2026, 2, 1))
    work.start_task(member=cast.staff, task_id=task.pk, now=local("06-02 10:00"))
    row = AnswerGiven.rows.get()
    assert (row.how, row.good_until) == ("task", local("06-02 12:00"))
    correct(step, block, local("06-01 11:15"), local("06-02 11:00"))
    assert [p["how"] for p in PossibleExposure.rows.get().people] == ["task"]


@pytest_db
def test_over_the_api_an_answer_is_kept_too_and_managers_read_them(cast, block, api):
    with time_machine.travel(NOW, tick=False):
        api(cast.staff).get(f"/api/v1/farms/{cast.farm.slug}/blocks/{block.pk}/entry/?part=rest&activity=irrigation")
        listed = api(cast.manager).get(f"/api/v1/farms/{cast.farm.slug}/answers-given/").json()["results"]
        denied = api(cast.staff).get(f"/api/v1/farms/{cast.farm.slug}/answers-given/")
    assert [(a["person"], a["answer_given"], a["activity"], a["rest"], a["how"]) for a in listed] == [
        ("Ana Ruiz", "yes", "irrigation", True, "api")
    ]
    assert (denied.status_code, "manager" in denied.json()["detail"]) == (403, True)


@pytest_db
def test_an_answer_is_given_even_if_it_cannot_be_kept(cast, block, browser_client, monkeypatch):
    def broken(*args, **kwargs):
        raise RuntimeError("no disk")

    monkeypatch.setattr("apps.safety.seen.services.write_answer", broken)
    shown = ask(browser_client, cast.staff, block, NOW)
    assert (shown.status_code, "Entry allowed" in shown.content.decode()) == (200, True)


@pytest_db
def test_the_list_says_who_was_told_what(cast, block, browser_client):
    ask(browser_client, cast.staff, block, NOW)
    page = browser_client(cast.manager).get(f"/f/{cast.farm.slug}/exposures/").content.decode()
    assert "Ana Ruiz" in page
    assert "Entry allowed" in page


def test_a_closure_from_a_clock_ahead_speaks_against_nothing_before_it():
    ahead = replace(closure(), starts_at=NOW + timedelta(minutes=1), ends_at=NOW + timedelta(hours=4))
    assert contradicted(ahead, [yes("06-02 11:00", "06-02 11:30")], now=NOW) == []
