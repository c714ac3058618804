"""The fixed cast: two farms, one person per role on each, and an outsider on none.

``cast.manager``, ``cast.applicator``, ``cast.staff`` work on ``cast.farm``; ``cast.neighbour``
is manager of ``cast.other_farm``; ``cast.outsider`` works nowhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from django.core.management import call_command
from django.test import Client, TransactionTestCase
from rest_framework.test import APIClient

from apps.audit import triggers
from apps.people.models import Farm, Person
from apps.people.queries import Member, active_member_for_person
from apps.people.rules import Role
from tests.factories.people import FarmFactory, MembershipFactory, PersonFactory

_ROLE_COLUMNS = {Role.MANAGER: "is_manager", Role.APPLICATOR: "is_applicator", Role.STAFF: "is_staff_member"}


_DATABASE_FIXTURES = {
    "db",
    "transactional_db",
    "live_server",
    "django_db_reset_sequences",
    "django_db_serialized_rollback",
}


def pytest_configure(config: pytest.Config) -> None:
    """Compiles the catalogue once, before any worker reads it: a fresh clone would speak English only."""
    if not hasattr(config, "workerinput"):
        call_command("compile_language")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks what reads or writes tables: pure rules need no second run on the second database."""
    for item in items:
        names = set(getattr(item, "fixturenames", ()))
        if item.get_closest_marker("django_db") or names & _DATABASE_FIXTURES:
            item.add_marker("database")


@dataclass
class Cast:
    farm: Farm
    other_farm: Farm
    manager: Member
    applicator: Member
    staff: Member
    neighbour: Member
    outsider: Person

    def by_role(self, role: Role | str) -> Member:
        member: Member = getattr(self, Role(role).value)
        return member

    @staticmethod
    def person(member: Member) -> Person:
        return Person.objects.get(pk=member.person_id)


def place(farm: Farm, role: Role, name: str, username: str) -> Member:
    """A new person with one role on ``farm``."""
    person = PersonFactory(full_name=name, username=username)
    columns = dict.fromkeys(_ROLE_COLUMNS.values(), False) | {_ROLE_COLUMNS[role]: True}
    MembershipFactory(farm=farm, person=person, **columns)
    return active_member_for_person(farm, person.pk)


@pytest.fixture
def cast(db: None) -> Cast:
    farm = FarmFactory(slug="alder-bend", name="Alder Bend Farm")
    other = FarmFactory(slug="far-side", name="Far Side Farm")
    return Cast(
        farm=farm,
        other_farm=other,
        manager=place(farm, Role.MANAGER, "Ines Prado", "ines"),
        applicator=place(farm, Role.APPLICATOR, "Luis Mora", "luis"),
        staff=place(farm, Role.STAFF, "Ana Ruiz", "ana"),
        neighbour=place(other, Role.MANAGER, "Otto Vance", "otto"),
        outsider=PersonFactory(full_name="Nobody Here", username="nobody"),
    )


@pytest.fixture
def api() -> Callable[[Member | Person | None], APIClient]:
    """An API client signed in as the given member or person (None = not signed in)."""

    def client(who: Member | Person | None = None) -> APIClient:
        made = APIClient()
        if who is not None:
            made.force_authenticate(Person.objects.get(pk=who.person_id))
        return made

    return client


@pytest.fixture
def browser_client() -> Callable[[Member | Person | None], Client]:
    """Django's page client, logged in as the given member or person."""

    def client(who: Member | Person | None = None) -> Client:
        made = Client()
        if who is not None:
            made.force_login(Person.objects.get(pk=who.person_id), backend="django.contrib.auth.backends.ModelBackend")
        return made

    return client


@pytest.fixture(autouse=True, scope="session")
def _emptying_takes_the_triggers_down() -> Iterator[None]:
    """Tests that commit empty the tables afterwards, which append-only triggers rightly refuse."""
    plain = TransactionTestCase._fixture_teardown

    def teardown(self: TransactionTestCase) -> None:
        triggers.remove()
        plain(self)
        triggers.install()

    TransactionTestCase._fixture_teardown = teardown
    yield
    TransactionTestCase._fixture_teardown = plain
