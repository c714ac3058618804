"""Writing notices: in the caller's transaction, once, only to people who work on the farm."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.db import IntegrityError, transaction

from apps.people.models import Membership, Person
from apps.reminders import services
from apps.reminders.models import Notice
from tests.factories.reminders import NoticeFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


def tell(farm, *to: int, **more):
    given = {
        "kind": "gate_painted",
        "subject": ("gate", 7),
        "occasion": "once",
        "template": "Gate {gate} is painted.",
        "numbers": {"gate": "East"},
        "path": "/f/alder-bend/",
        "now": NOON,
    }
    services.tell(farm=farm, to=to, **{**given, **more})


def heard(farm) -> list[tuple[str, str]]:
    rows = Notice.objects.for_farm(farm).order_by("person__username", "id")
    return list(rows.values_list("person__username", "occasion"))


def test_each_person_is_told_once_however_often_it_is_said(cast):
    for _ in range(3):
        tell(cast.farm, cast.staff.person_id, cast.applicator.person_id, cast.staff.person_id)
    tell(cast.farm, cast.staff.person_id, occasion="again")
    assert heard(cast.farm) == [("ana", "once"), ("ana", "again"), ("luis", "once")]


def test_a_second_telling_changes_nothing_in_the_first(cast):
    tell(cast.farm, cast.staff.person_id)
    tell(cast.farm, cast.staff.person_id, numbers={"gate": "West"}, urgent=True)
    row = Notice.objects.for_farm(cast.farm).get()
    assert (row.numbers, row.urgent) == ({"gate": "East"}, False)


def test_the_database_holds_it_once_whoever_writes(cast):
    first = NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id)
    with pytest.raises(IntegrityError), transaction.atomic():
        NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id, subject_id=first.subject_id)
    assert Notice.objects.for_farm(cast.farm).count() == 1


def test_what_rolls_back_leaves_no_notice(cast):
    with pytest.raises(RuntimeError, match="the job was not written"), transaction.atomic():
        tell(cast.farm, cast.staff.person_id)
        assert heard(cast.farm) == [("ana", "once")]
        raise RuntimeError("the job was not written")
    assert heard(cast.farm) == []


def test_nobody_from_another_farm_hears_of_this_one(cast):
    tell(cast.farm, cast.neighbour.person_id, cast.outsider.pk, cast.staff.person_id)
    assert heard(cast.farm) == [("ana", "once")]


def test_when_all_those_named_have_left_the_managers_hear_it(cast):
    Membership.objects.for_farm(cast.farm).filter(person_id=cast.staff.person_id).update(active=False)
    tell(cast.farm, cast.staff.person_id)
    tell(cast.farm, occasion="to nobody")
    assert heard(cast.farm) == [("ines", "once")]


def test_an_e_mail_is_due_only_for_those_with_an_address(cast):
    Person.objects.filter(pk=cast.staff.person_id).update(email="ana@farm.example")
    tell(cast.farm, cast.staff.person_id, cast.applicator.person_id)
    rows = Notice.objects.for_farm(cast.farm).order_by("person__username")
    next_morning = datetime(2026, 6, 2, 10, 15, tzinfo=UTC)  # 5:15 AM in Chicago: no more than information
    assert list(rows.values_list("person__username", "due_at")) == [("ana", next_morning), ("luis", None)]


def test_withdrawing_takes_back_that_kind_about_that_subject_only(cast):
    tell(cast.farm, cast.staff.person_id)
    tell(cast.farm, cast.staff.person_id, subject=("gate", 8))
    tell(cast.farm, cast.staff.person_id, kind="gate_oiled")
    tell(cast.other_farm, cast.neighbour.person_id)
    gone = services.withdraw(farm=cast.farm, kind="gate_painted", subject=("gate", 7), now=NOON)
    left = Notice.rows.filter(withdrawn_at=None).order_by("id").values_list("farm__slug", "kind", "subject_id")
    assert gone == 1
    assert list(left) == [
        ("alder-bend", "gate_painted", "8"),
        ("alder-bend", "gate_oiled", "7"),
        ("far-side", "gate_painted", "7"),
    ]


def test_a_notice_that_could_never_be_read_is_refused_at_once(cast):
    with pytest.raises(ValueError, match="nothing to fill gate"):
        tell(cast.farm, cast.staff.person_id, numbers={})
    assert heard(cast.farm) == []


def test_telling_costs_the_same_for_one_and_for_many(cast, django_assert_num_queries):
    with django_assert_num_queries(5):  # who works here, what exists, what they wish, one insert, who else listens
        tell(cast.farm, cast.staff.person_id)
    with django_assert_num_queries(5):
        tell(cast.farm, cast.staff.person_id, cast.applicator.person_id, cast.manager.person_id, occasion="all")
