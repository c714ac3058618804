"""Reading people: who is asking, and who works here."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection
from django.db.models import QuerySet
from django.utils.crypto import constant_time_compare

from apps.people.models import ApiToken, Farm, Invitation, Membership, Person
from apps.people.rules import Can, Role, held, may, who_may
from farmops.errors import NotYourRole, Said, Unknown, gettext_noop
from farmops.prepared import Prepared


@dataclass(frozen=True, kw_only=True)
class Member:
    """Somebody acting on one farm, with the roles held there."""

    id: int
    person_id: int
    name: str
    farm: Farm
    roles: frozenset[Role]

    def can(self, can: Can) -> bool:
        return may(self.roles, can)

    def require(self, can: Can) -> None:
        """``NotYourRole`` unless one of this member's roles holds the capability."""
        if not self.can(can):
            raise NotYourRole(Said(gettext_noop("This needs one of: {roles}."), roles=who_may(can)))


def as_member(row: Membership) -> Member:
    return Member(id=row.pk, person_id=row.person_id, name=row.person.full_name, farm=row.farm, roles=row.roles)


def member_of(farm_slug: str, person: Person) -> Member:
    """The member behind a request; ``Unknown`` for strangers, also when the farm exists. One query."""
    found = MEMBER.rows(farm=farm_slug, person=person.pk)
    if not found:
        raise Unknown(gettext_noop("No such farm in your book."))
    (number, manager, applicator, staff, name, *columns) = found[0]
    return Member(
        id=number,
        person_id=person.pk,
        name=name,
        farm=Farm.from_db(connection.alias, _FARM, columns),
        roles=held(manager=manager, applicator=applicator, staff=staff),
    )


def _membership(farm: str, person: int) -> QuerySet[Membership]:
    found = Membership.rows.filter(farm__slug=farm, person_id=person, active=True, person__is_active=True)
    return found.values_list(
        "pk",
        "is_manager",
        "is_applicator",
        "is_staff_member",
        "person__full_name",
        *(f"farm__{name}" for name in _FARM),
    )


_FARM = [field.attname for field in Farm._meta.concrete_fields]
MEMBER = Prepared(_membership, farm=str, person=int)
"""Asked by every door, so it is prepared."""


def memberships_of(person: Person) -> QuerySet[Membership]:
    """The farms a person works on."""
    return Membership.rows.select_related("farm", "person").filter(person=person, active=True).order_by("farm__name")


def members(farm: Farm) -> QuerySet[Membership]:
    """Everybody who has or had a place on the farm, active first."""
    return Membership.objects.for_farm(farm).select_related("person", "farm").order_by("-active", "person__full_name")


def member_in(farm: Farm, membership_id: int) -> Membership:
    return one(members(farm).filter(pk=membership_id))


def active_member_for_person(farm: Farm, person_id: int) -> Member:
    """The active member with this person id; ``Unknown`` if there is none on this farm."""
    row = members(farm).filter(person_id=person_id, active=True, person__is_active=True).first()
    if row is None:
        raise Unknown(gettext_noop("Nobody with that number works on this farm."))
    return as_member(row)


def person_ids_with(farm: Farm, role: Role) -> list[int]:
    """Ids of the active people who hold ``role``."""
    column = {Role.MANAGER: "is_manager", Role.APPLICATOR: "is_applicator", Role.STAFF: "is_staff_member"}[role]
    found = Membership.objects.for_farm(farm).filter(active=True, person__is_active=True, **{column: True})
    return list(found.order_by("person_id").values_list("person_id", flat=True))


def invitations(farm: Farm) -> QuerySet[Invitation]:
    return Invitation.objects.for_farm(farm).select_related("invited_by", "accepted_by").order_by("-id")


def open_invitation(code: str, now: datetime) -> Invitation:
    """The invitation behind a code that can still be accepted."""
    found = Invitation.rows.select_related("farm").filter(
        code_hash=digest(code), accepted_at=None, withdrawn_at=None, expires_at__gt=now
    )
    return one(found)


def tokens_of(farm: Farm, person_id: int) -> QuerySet[ApiToken]:
    return ApiToken.objects.for_farm(farm).filter(person_id=person_id).order_by("-id")


def token_behind(bearer: str, now: datetime) -> ApiToken | None:
    """The live token a client presented, or None."""
    prefix, _, secret = bearer.partition(".")
    row = ApiToken.rows.select_related("person", "farm").filter(prefix=prefix, revoked_at=None).first()
    if row is None or not constant_time_compare(row.secret_hash, digest(secret)):
        return None
    return row if row.expires_at > now and row.person.is_active else None


def digest(secret: str) -> str:
    """SHA-256 of a 256-bit random secret (a slow hash adds nothing to a random key)."""
    return hashlib.sha256(secret.encode()).hexdigest()


def one(found: Any) -> Any:
    """The single row asked for, or ``Unknown`` (also for another farm's row)."""
    row = found.first()
    if row is None:
        raise Unknown()
    return row
