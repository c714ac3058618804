"""Early entry through services and doors: a supervisor's name, minutes over all fields, and never a yes.

Basis: 40 CFR 170.603 and 170.605; cases D2, D3, D5, D16, D20, D21.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
import time_machine

from apps.people.models import Person
from apps.safety import queries as board
from apps.safety.early import queries, services
from apps.safety.early.models import EarlyEntry
from apps.safety.posting.models import Posting
from apps.safety.rules import Kind, Reason
from apps.safety.rules.early import Briefing
from farmops.errors import BadInput, NotYourRole, Refused, Unknown
from tests.factories.land import BlockFactory
from tests.factories.safety import ClosureFactory
from tests.safety.board import HALF_PAST_NINE, local

pytestmark = pytest.mark.django_db

AT = local("06-01 15:00")


def closed(farm, source="job:1", **more):
    """A block in a 48 h interval since 06-01 09:30, its notice on record as spoken or posted."""
    block = BlockFactory(farm=farm)
    ends = HALF_PAST_NINE + timedelta(hours=48)
    values = {"numbers": {"hours": "48 h"}, "ends_at": ends, "source": source, **more}
    ClosureFactory(block=block, **values)
    Posting.rows.create(
        farm=farm, block=block, source=source, about="job 1", needs="either", starts_at=local("06-01 08:00"),
        asked_at=local("05-31 08:00"),
    )  # fmt: skip
    return block


@pytest.fixture
def block(cast):
    Person.objects.filter(pk=cast.staff.person_id).update(born_on=date(1990, 1, 1))
    return closed(cast.farm)


def asked(cast, **more):
    return {
        "worker_id": cast.staff.person_id, "route": "short_term", "starts_at": AT, "minutes": 40,
        "stated": {"gear_given": True}, "briefed": list(Briefing), "task": "Move the pump", **more,
    }  # fmt: skip


def decide(cast, block, *, by=None, now=AT, **more):
    return services.decide(member=by or cast.manager, block_id=block.pk, now=now, **asked(cast, **more))


def refused(act) -> list[str]:
    with pytest.raises(Refused) as error:
        act()
    return [f.code for f in error.value.findings]


def test_d2_a_decision_is_recorded_under_the_supervisors_name_and_opens_nothing(cast, block):
    row = decide(cast, block, by=cast.applicator, gear="coveralls, gloves")
    assert (row.supervisor_id, row.worker_id, row.minutes) == (cast.applicator.person_id, cast.staff.person_id, 40)
    assert row.stated == {"gear_given": True, "briefed": sorted(Briefing)}
    assert board.entry_answer(block, activity=None, at=AT, now=AT).answer == "no"


def test_what_the_board_knows(cast, block):
    known = queries.ground_of(block, AT, AT)
    assert (known.ended_at, known.confirmed, known.level_open, known.double_notice) == (
        HALF_PAST_NINE, True, False, False,
    )  # fmt: skip


def test_d3_minutes_count_in_a_rolling_day_as_really_used(cast, block):
    first = decide(cast, block)
    assert refused(lambda: decide(cast, block, starts_at=AT + timedelta(hours=2), now=AT)) == ["too_long"]
    services.left(
        member=cast.manager,
        entry_id=first.pk,
        left_at=AT + timedelta(minutes=19, seconds=1),
        now=AT + timedelta(hours=1),
    )
    first.refresh_from_db()
    assert first.minutes_used == 20
    assert decide(cast, block, starts_at=AT + timedelta(hours=2)).minutes == 40


def test_d5_minutes_add_up_over_fields(cast, block):
    decide(cast, block)
    other = closed(cast.farm, source="job:2")
    assert refused(lambda: decide(cast, other, starts_at=AT + timedelta(hours=1))) == ["too_long"]


def test_d16_and_an_age_that_is_not_on_record(cast, block):
    Person.objects.filter(pk=cast.staff.person_id).update(born_on=date(2008, 6, 2))
    assert refused(lambda: decide(cast, block)) == ["under_18"]
    Person.objects.filter(pk=cast.staff.person_id).update(born_on=date(2008, 6, 1))
    assert decide(cast, block).minutes == 40
    Person.objects.filter(pk=cast.staff.person_id).update(born_on=None)
    assert refused(lambda: decide(cast, block, starts_at=AT + timedelta(hours=2), minutes=10)) == ["age_unknown"]


@pytest.mark.parametrize(
    ("closure", "code"),
    [
        ({"reason_code": Reason.UNTIL_LEVEL, "ends_at": None, "numbers": {}}, "level_open"),
        ({"kind": Kind.UNCONFIRMED, "ends_at": None}, "not_confirmed"),
        ({"kind": Kind.UNDERWAY, "ends_at": None}, "not_confirmed"),
        ({"kind": Kind.ZONE, "ends_at": None}, "not_confirmed"),
        ({"reason_code": Reason.REI_MISSING, "ends_at": None, "numbers": {}}, "end_unknown"),
    ],
    ids=["D20", "unsigned", "underway", "next door", "interval not known"],
)
def test_what_else_hangs_there_rules_it_out(cast, block, closure, code):
    ClosureFactory(block=block, **closure)
    assert refused(lambda: decide(cast, block)) == [code]


def test_notice_that_is_not_on_record_counts_as_both(cast, block):
    ClosureFactory(block=block, numbers={"hours": "48 h"}, ends_at=HALF_PAST_NINE + timedelta(hours=48))
    stated = {"gear_given": True, "unforeseen": True, "real_loss": True, "contact_limited": True}
    assert refused(lambda: decide(cast, block, route="limited_contact", stated=stated)) == ["double_notice"]


def test_d21_only_people_of_this_farm(cast, block):
    assert refused(lambda: decide(cast, block, worker_id=cast.outsider.pk)) == ["not_listed"]
    with pytest.raises(Unknown):
        services.decide(member=cast.neighbour, block_id=block.pk, now=AT, **asked(cast))


def test_only_a_supervisor_decides(cast, block):
    with pytest.raises(NotYourRole):
        decide(cast, block, by=cast.staff)


@pytest.mark.parametrize("hours", [-1, 25])
def test_it_is_decided_on_the_spot(cast, block, hours):
    with pytest.raises(BadInput) as error:
        decide(cast, block, starts_at=AT + timedelta(hours=hours))
    assert list(error.value.errors) == ["starts_at"]


def test_leaving_is_said_once_and_not_before_the_start(cast, block):
    row = decide(cast, block)
    with pytest.raises(BadInput):
        services.left(member=cast.manager, entry_id=row.pk, left_at=AT - timedelta(minutes=1), now=AT)
    services.left(member=cast.manager, entry_id=row.pk, now=AT + timedelta(minutes=5))
    assert refused(lambda: services.left(member=cast.manager, entry_id=row.pk, now=AT + timedelta(minutes=9))) == [
        "left_already"
    ]


def test_the_api_never_says_yes(cast, block, api):
    body = {k: v for k, v in asked(cast).items() if k != "task"} | {"starts_at": AT.isoformat()}
    client, root = api(cast.manager), f"/api/v1/farms/{cast.farm.slug}/blocks/{block.pk}/early-entry/"
    with time_machine.travel(AT, tick=False):
        said = client.post(root + "look/", body, format="json").json()
        assert said == {
            "ruled_out": [],
            "needs": "Not ruled out. It needs the decision of a named supervisor, on the spot.",
        }
        too_long = client.post(root + "look/", {**body, "minutes": 61}, format="json").json()
        assert [f["code"] for f in too_long["ruled_out"]] == ["too_long"]
        assert not EarlyEntry.rows.exists()
        made = client.post(root, {**body, "task": "Move the pump"}, format="json")
        assert (made.status_code, made.json()["supervisor"]) == (201, "Ines Prado")
        listed = client.get(f"/api/v1/farms/{cast.farm.slug}/early-entries/").json()
    assert [e["id"] for e in listed["results"]] == [made.json()["id"]]


def test_the_page_says_what_is_ruled_out_and_records_a_decision(cast, block, browser_client):
    address = f"/f/{cast.farm.slug}/blocks/{block.pk}/early-entry/"
    client = browser_client(cast.applicator)
    typed = {
        "worker_id": cast.staff.person_id, "route": "short_term", "task": "Move the pump", "minutes": "40",
        "briefed": [b.value for b in Briefing], "gear_given": "on",
    }  # fmt: skip
    with time_machine.travel(AT, tick=False):
        shown = client.get(address).content.decode()
        assert "Nothing here allows anybody to go in." in shown
        assert "checked" not in shown
        bare = client.post(address, {**typed, "briefed": []})
        assert (bare.status_code, bare.content.decode().count("The worker was not told")) == (409, len(Briefing))
        assert client.post(address, typed).status_code == 302
        listed = client.get(f"/f/{cast.farm.slug}/early-entries/").content.decode()
    assert "Move the pump" in listed
