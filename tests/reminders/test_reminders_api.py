"""One's own notices and the sweep's health over HTTP."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from apps.reminders import services
from apps.reminders.models import Letter, Notice, SweepRun
from tests.factories.reminders import NoticeFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
LIST = "/api/v1/farms/alder-bend/notices/"


@pytest.fixture
def notices(cast) -> list[Notice]:
    return [NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id, subject_id=str(n)) for n in range(3)]


def subjects(answer) -> list[str]:
    return [n["subject_id"] for n in answer.json()["results"]]


def test_own_notices_newest_first_and_nobody_elses(cast, api, notices):
    NoticeFactory(farm=cast.farm, person_id=cast.manager.person_id, subject_id="managers")
    NoticeFactory(farm=cast.other_farm, person_id=cast.staff.person_id, subject_id="elsewhere")
    NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id, subject_id="withdrawn", withdrawn_at=NOON)
    assert subjects(api(cast.staff).get(LIST)) == ["2", "1", "0"]
    assert subjects(api(cast.manager).get(LIST)) == ["managers"]


def test_a_notice_reads_as_a_sentence_in_the_callers_language(cast, api, notices, spanish):
    spanish["Gate {gate} is painted."] = "El portón {gate} está pintado."
    shown = [
        api(cast.staff).get(LIST, headers={"Accept-Language": code}).json()["results"][0]["sentence"]
        for code in ("en", "es")
    ]
    assert shown == ["Gate East is painted.", "El portón East está pintado."]


def test_seen_once_stays_seen(cast, api, notices):
    address = f"{LIST}{notices[1].pk}/seen/"
    with time_machine.travel(NOON + timedelta(hours=1), tick=False):
        first = api(cast.staff).post(address).json()["seen_at"]
    again = api(cast.staff).post(address).json()["seen_at"]
    assert first == again == "2026-06-01T13:00:00Z"
    assert subjects(api(cast.staff).get(LIST + "?unseen=true")) == ["2", "0"]
    assert subjects(api(cast.staff).get(LIST + "?unseen=false")) == ["1"]


def test_anybody_elses_notice_is_404_and_stays_unseen(cast, api, notices):
    answer = api(cast.manager).post(f"{LIST}{notices[0].pk}/seen/")
    assert (answer.status_code, answer.json()["detail"]) == (404, "No such entry in this farm's book.")
    notices[0].refresh_from_db()
    assert notices[0].seen_at is None


def test_all_up_to_the_one_on_screen(cast, api, notices):
    answer = api(cast.staff).post(LIST + "seen/", {"up_to": notices[1].pk}, format="json")
    assert answer.json() == {"seen": 2}
    assert subjects(api(cast.staff).get(LIST + "?unseen=true")) == ["2"]


def test_bad_up_to_names_the_field(cast, api, notices):
    for body in ({}, {"up_to": "x"}, {"up_to": 2**70}):
        answer = api(cast.staff).post(LIST + "seen/", body, format="json")
        assert (answer.status_code, list(answer.json()["errors"])) == (400, ["up_to"])


def test_health_before_the_first_sweep(cast, api):
    answer = api(cast.staff).get("/api/v1/farms/alder-bend/sweep/").json()
    assert (answer["late"], answer["last_finished_at"], answer["lag_seconds"]) == (True, None, None)


def test_health_says_lag_backlog_and_this_farms_faults_only(cast, api, sources, settings):
    def breaks(farm, now):
        raise LookupError(f"no gate on {farm.slug}")

    paths = sources(breaks=breaks)
    settings.REDIS_URL = ""
    services.sweep(NOON)
    SweepRun.objects.update(last_finished_at=NOON)
    person = cast.manager.person_id
    NoticeFactory(farm=cast.farm, person_id=person, created_at=NOON - timedelta(minutes=3))
    old = {"created_at": NOON - timedelta(days=1), "due_at": NOON - timedelta(days=1)}
    Letter.objects.add(farm=cast.farm, person_id=person, done_at=NOON, outcome="given_up", **old)
    Letter.objects.add(farm=cast.farm, person_id=person, **old)
    NoticeFactory(farm=cast.other_farm, person_id=cast.neighbour.person_id)
    with time_machine.travel(NOON + timedelta(minutes=7), tick=False):
        answer = api(cast.staff).get("/api/v1/farms/alder-bend/sweep/").json()
    faults = answer.pop("faults")
    assert answer == {
        "runs_by": "ticker",
        "last_started_at": "2026-06-01T12:00:00Z",
        "last_finished_at": "2026-06-01T12:00:00Z",
        "lag_seconds": 420,
        "late": True,
        "made": 0,
        "sent": 0,
        "failed": 0,
        "error": "",
        "backlog": 2,
        "oldest_waiting_at": "2026-05-31T12:00:00Z",
        "given_up": 1,
        "calls_waiting": 0,
        "calls_given_up": 0,
    }
    assert [(f["source"], f["error"]) for f in faults] == [(paths[0], "LookupError: no gate on alder-bend")]


def test_health_costs_the_same_with_a_long_history(cast, api, django_assert_num_queries):
    from apps.reminders import queries

    for _ in range(2):
        with django_assert_num_queries(5):
            queries.health(cast.farm, NOON)
        NoticeFactory.create_batch(30, farm=cast.farm, person_id=cast.staff.person_id)
