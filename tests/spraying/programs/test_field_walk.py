"""One program through a month in the field: counted, proposed, planned, sprayed, rained on, decided, missed."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from apps.crops import services as crops
from apps.spraying.due import due as plain_due
from apps.spraying.models import Job, ProgramDecision
from apps.spraying.programs.due import due
from apps.weather import services as weather
from tests.factories.spraying import NOW
from tests.spraying.programs.conftest import DAY, MONDAY

pytestmark = pytest.mark.django_db


def told(bench, now):
    return [(d.kind, d.subject_id) for d in due(bench.farm, now)]


def words(answer) -> str:
    return " ".join(answer.content.decode().split())


def counted(bench, found: int, now, *, examined: int = 50):
    return crops.record_count(
        member=bench.applicator,
        block_id=bench.blocks[0].pk,
        threshold_code="powdery_mildew_leaves",
        looked_on=MONDAY + (now - NOW),
        places=[{"examined": examined, "found": found}],
        now=now,
    )


def test_from_the_scout_to_the_missed_window(season, browser_client, monkeypatch):
    play = season(start_kind="threshold", start_on=None, start_threshold="powdery_mildew_leaves")
    bench, first = play.bench, play.bench.blocks[0].pk
    page = f"/f/{bench.farm.slug}/programs/{play.program.pk}/"
    client = browser_client(bench.manager)

    def at(now):
        monkeypatch.setattr("farmops.clock.now", lambda: now)
        return now

    # Nothing is due: the trigger has not come. A small sample without a find says nothing, and starts nothing.
    now = at(NOW)
    assert counted(bench, 0, now, examined=20).verdict == "insufficient"
    assert (told(bench, now), play.course(now).next) == ([], None)

    # One leaf of fifty: the threshold proposes the program's first pass on that block alone.
    now = at(NOW + timedelta(hours=1))
    assert counted(bench, 1, now).verdict == "reached"
    assert told(bench, now) == [("program_window", play.program.pk), ("threshold_reached", first)]
    assert all(d.path == f"{page}blocks/{first}/plan/" for d in due(bench.farm, now))
    assert (play.course(now).next.opens_on, play.course(now).next.closes_on) == (MONDAY, date(2026, 7, 9))

    # The manager plans it in one step: the form is filled in from the program.
    shown = words(client.get(f"{page}blocks/{first}/plan/"))
    assert 'value="powdery mildew"' in shown
    assert 'value="2026-07-07T07:00"' in shown
    filled = client.get(f"{page}blocks/{first}/plan/").context["form"]
    typed = {name: filled[name].value() for name in filled.fields if filled[name].value() not in (None, "", False)}
    typed |= {"sprayer_id": bench.sprayer.pk, "applicator_id": bench.applicator.person_id}
    sent = client.post(f"{page}blocks/{first}/plan/", typed)
    job = Job.rows.get()
    assert (sent.status_code, job.targets, [p.product_id for p in job.job_products.all()]) == (
        302, ["powdery_mildew"], [play.cover.pk],
    )  # fmt: skip

    # Sprayed on Tuesday: the next window moves to a week later, and the threshold is answered.
    play.sprayed(1)
    now = at(NOW + 2 * DAY)
    course = play.course(now)
    assert [(w.state, w.pass_no) for w in course.behind] == [("done", 1)]
    assert (course.next.opens_on, course.next.closes_on) == (date(2026, 7, 14), date(2026, 7, 17))
    assert told(bench, now) == []

    # An inch and a quarter in the night after: a decision is asked for, on the page too.
    night = NOW + DAY + timedelta(hours=12)
    weather.record_rainfall(member=bench.applicator, from_at=night, until_at=now, inches=Decimal("1.25"), now=now)
    assert told(bench, now) == [("program_rain", play.program.pk)]
    assert "Rain asks for a decision" in words(client.get(page))
    answer = client.post(f"{page}decide/", {"blocks": [first], "choice": "continue", "reason": "Leaves still white."})
    assert (answer.status_code, ProgramDecision.rows.get().choice) == (302, "continue")
    assert (told(bench, now), play.course(now).asks[0].answered.by) == ([], bench.manager.name)

    # The window opens, closes, and is missed: told once for each, by the program alone.
    for days, kinds in ((7, []), (8, ["program_window"]), (11, ["program_window"]), (12, ["program_missed"])):
        assert [kind for kind, _ in told(bench, NOW + days * DAY)] == kinds
        assert [d for d in plain_due(bench.farm, NOW + days * DAY) if d.kind.startswith("spray_")] == []

    # Sprayed four days late: the miss stays a fact, here and on the page.
    play.sprayed(15)
    now = at(NOW + 16 * DAY)
    course = play.course(now)
    assert [(w.state, w.pass_no, w.opens_on) for w in course.behind] == [
        ("done", 1, MONDAY), ("missed", 2, date(2026, 7, 14)), ("done", 2, date(2026, 7, 18)),
    ]  # fmt: skip
    assert ("program_missed", play.program.pk) in told(bench, now)
    shown = words(client.get(page))
    assert "1 window missed" in shown
    assert '<span class="tag">Missed</span>' in shown
    assert (course.next.pass_no, course.next.opens_on) == (3, date(2026, 7, 28))
