"""Prepared reads give what the plain queryset gives, on either database, and refuse what they cannot carry."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db.models import F, Value
from django.db.models.functions import Upper

from apps.people.models import Membership
from apps.people.queries import MEMBER, member_of
from apps.safety import reading
from apps.safety.models import Closure
from apps.safety.rules import FAR_AHEAD
from farmops.errors import Unknown
from farmops.prepared import CannotPrepare, Prepared
from tests.factories.land import BlockFactory
from tests.factories.safety import ClosureFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def ground(cast):
    """Blocks with nothing, one and several closures; some run out, lifted, or of another farm."""
    blocks = [BlockFactory(farm=cast.farm, code=code) for code in ("C", "A", "B")]
    for number, block in enumerate(blocks[1:], start=1):
        for hours in range(number):
            ClosureFactory(block=block, starts_at=NOW - hours * HOUR, numbers={"hours": "12"}, part={"x": [1.5, -2]})
        ClosureFactory(block=block, starts_at=NOW - 90 * HOUR)
        ClosureFactory(block=block, kind="planned", lifted_at=NOW, lift_reason="started")
    ClosureFactory(block=BlockFactory(farm=cast.other_farm), starts_at=NOW)
    return blocks


def same(prepared, **values):
    fresh = [tuple(row) for row in prepared.rows(**values)]
    plain = list(prepared.plain(**values))
    assert sorted(fresh, key=repr) == sorted(plain, key=repr)
    return fresh


def test_the_boards_reads_are_the_plain_ones(cast, ground):
    for at in (NOW - 200 * HOUR, NOW, NOW + 5 * HOUR, NOW + timedelta(microseconds=1), FAR_AHEAD):
        for farm in (cast.farm, cast.other_farm):
            same(reading.ALL, farm=farm.pk, after=at)
            for block in ground:
                same(reading.ONE, farm=farm.pk, block=block.pk, after=at)
    assert [row[1] for row in same(reading.ALL, farm=cast.farm.pk, after=NOW)] == ["A", "B", "B", "C"]


def test_the_members_read_is_the_plain_one(cast):
    for who in (cast.manager, cast.applicator, cast.staff, cast.neighbour):
        for farm in (cast.farm, cast.other_farm):
            same(MEMBER, farm=farm.slug, person=who.person_id)
    member = member_of("alder-bend", cast.person(cast.applicator))
    assert member == cast.applicator
    assert {f.attname: getattr(member.farm, f.attname) for f in member.farm._meta.concrete_fields} == {
        f.attname: getattr(cast.farm, f.attname) for f in cast.farm._meta.concrete_fields
    }


@pytest.mark.parametrize("change", [{"active": False}, {"person__is_active": False}])
def test_who_no_longer_works_here_is_a_stranger(cast, change):
    row = Membership.rows.get(person_id=cast.staff.person_id)
    for name, value in change.items():
        target = row.person if name.startswith("person__") else row
        setattr(target, name.removeprefix("person__"), value)
        target.save()
    with pytest.raises(Unknown):
        member_of("alder-bend", row.person)


def test_it_is_compiled_once_and_takes_one_query(cast, ground, django_assert_num_queries):
    built = []

    def build(block):
        built.append(block)
        return Closure.rows.filter(block_id=block).order_by("pk").values_list("pk", "starts_at", "activities")

    read = Prepared(build, block=int)
    with django_assert_num_queries(3):
        found = [len(read.rows(block=block.pk)) for block in ground]
    assert (found, len(built)) == ([0, 3, 4], 2)


def test_a_number_no_row_can_have_finds_nothing(cast, ground, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert reading.ONE.rows(farm=cast.farm.pk, block=10**30, after=NOW) == []
    assert reading.ONE.rows(farm=cast.farm.pk, block=2**62, after=NOW) == []


def of_closures(**conditions):
    return Closure.rows.filter(**conditions).values_list("pk")


@pytest.mark.parametrize(
    ("build", "kinds"),
    [
        (lambda at: of_closures(starts_at=at - HOUR), {"at": datetime}),
        (lambda word: of_closures(source__contains=word), {"word": str}),
        (lambda block: of_closures(kind="entry"), {"block": int}),
        (lambda n: of_closures().order_by("pk")[: n % 7], {"n": int}),
        (lambda word: of_closures(kind=Upper(Value(word + "s"))), {"word": str}),
        (lambda n: of_closures(block_id=F("pk") + (n + 1)), {"n": int}),
    ],
    ids=["computed time", "pattern", "left out", "limit", "longer", "sum"],
)
def test_a_parameter_that_does_not_arrive_as_it_is_is_refused(build, kinds):
    """Whatever would silently keep a stand-in in the SQL must fail at the first use."""
    values = {int: 5, str: "five", datetime: NOW}
    with pytest.raises(CannotPrepare):
        Prepared(build, **kinds).rows(**{name: values[kind] for name, kind in kinds.items()})
