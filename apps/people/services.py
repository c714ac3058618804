"""Farms, places on them, invitations, keys and passwords: one function per action."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from apps.audit import services as audit
from apps.people import queries
from apps.people.models import ApiToken, Farm, Invitation, Membership, Person
from apps.people.queries import Member, digest
from apps.people.rules import Can, Role
from farmops import clock
from farmops.errors import BadInput, Stale, gettext_noop, refuse

INVITATION_LIFE = timedelta(days=14)
TOKEN_LIFE = timedelta(days=365)


@transaction.atomic
def open_farm(*, person: Person, now: datetime, **values: Any) -> Farm:
    """Start a farm's book; the person who opens it becomes its first manager."""
    clock.zone(values["time_zone"])
    if Farm.objects.filter(slug=values["slug"]).exists():
        raise BadInput({"slug": gettext_noop("This short name is taken; choose another.")})
    farm = Farm.objects.create(**values)
    Membership.objects.add(farm=farm, person=person, is_manager=True)
    audit.record(farm=farm, actor=person, verb="opened", subject=farm, now=now, after=values)
    return farm


@transaction.atomic
def edit_farm(*, member: Member, expected_version: int, changes: Mapping[str, Any], now: datetime) -> Farm:
    """Change the farm's own facts (zone, contact, freshness limit)."""
    member.require(Can.EDIT_FARM)
    if "time_zone" in changes:
        clock.zone(changes["time_zone"])
    farm = Farm.objects.select_for_update().get(pk=member.farm.pk)
    return save_changes(farm, member=member, expected_version=expected_version, changes=changes, now=now)


def save_changes(row: Any, *, member: Member, expected_version: int, changes: Mapping[str, Any], now: datetime) -> Any:
    """Write ``changes`` to a locked row if it is still at ``expected_version``; audit what differs.

    Every edit of a shared row goes through here: ``Stale`` when somebody was quicker.
    Call it inside the service's transaction, after the role check.
    """
    if row.version != expected_version:
        raise Stale()
    before, after = audit.changed(row, changes)
    if not after:
        return row
    for name, value in after.items():
        setattr(row, name, value)
    row.version += 1
    row.save(update_fields=[*after, "version"])
    farm = row if isinstance(row, Farm) else row.farm
    audit.record(farm=farm, actor=member, verb="changed", subject=row, now=now, before=before, after=after)
    return row


def _role_columns(roles: Collection[Role | str]) -> dict[str, bool]:
    held = {Role(r) for r in roles}
    if not held:
        raise BadInput({"roles": gettext_noop("Choose at least one role.")})
    return {
        "is_manager": Role.MANAGER in held,
        "is_applicator": Role.APPLICATOR in held,
        "is_staff_member": Role.STAFF in held,
    }


@transaction.atomic
def invite(
    *, member: Member, full_name: str, email: str = "", roles: Collection[Role | str], now: datetime
) -> tuple[Invitation, str]:
    """Invite somebody; returns the row and the code, which is shown this once only."""
    member.require(Can.MANAGE_PEOPLE)
    _role_columns(roles)
    code = secrets.token_urlsafe(24)
    row = Invitation.objects.add(
        farm=member.farm,
        code_hash=digest(code),
        full_name=full_name,
        email=email,
        roles=sorted({Role(r).value for r in roles}),
        invited_by_id=member.person_id,
        created_at=now,
        expires_at=now + INVITATION_LIFE,
    )
    audit.record(farm=member.farm, actor=member, verb="invited", subject=row, now=now, after={"roles": row.roles})
    return row, code


@transaction.atomic
def withdraw_invitation(*, member: Member, invitation_id: int, now: datetime) -> Invitation:
    """Take an unused invitation back."""
    member.require(Can.MANAGE_PEOPLE)
    row = queries.one(queries.invitations(member.farm).filter(pk=invitation_id))
    if row.accepted_at or row.withdrawn_at:
        raise refuse("invitation_used", gettext_noop("This invitation was already used or withdrawn."))
    row.withdrawn_at = now
    row.save(update_fields=["withdrawn_at"])
    audit.record(farm=member.farm, actor=member, verb="withdrew", subject=row, now=now)
    return row


@transaction.atomic
def accept_invitation(*, code: str, now: datetime, person: Person | None, new: Mapping[str, str] | None) -> Membership:
    """Join a farm with a code, as the signed-in ``person`` or as a ``new`` one.

    ``new`` holds username, password, full_name, phone, language. ``Unknown`` for a bad code.
    """
    row = queries.open_invitation(code, now)
    if person is None:
        person = _new_person(new or {}, email=row.email)
    claimed = Invitation.rows.filter(pk=row.pk, accepted_at=None, withdrawn_at=None).update(
        accepted_at=now, accepted_by=person
    )
    if claimed != 1:
        raise refuse("invitation_used", gettext_noop("This invitation was already used or withdrawn."))
    membership, _ = Membership.rows.update_or_create(
        farm=row.farm, person=person, defaults={**_role_columns(row.roles), "active": True}
    )
    audit.record(farm=row.farm, actor=person, verb="joined", subject=membership, now=now, after={"roles": row.roles})
    return membership


def _new_person(new: Mapping[str, str], *, email: str) -> Person:
    username = new.get("username", "").strip().lower()
    person = Person(
        username=username,
        full_name=new.get("full_name", "").strip(),
        phone=new.get("phone", ""),
        language=new.get("language", "en"),
        email=email,
    )
    if Person.objects.filter(username=username).exists():
        raise BadInput({"username": gettext_noop("This user name is taken; choose another.")})
    _set_password(person, new.get("password", ""), field="password")
    try:
        person.full_clean(exclude=["password", "last_login"])
    except ValidationError as error:
        raise BadInput({name: list(said) for name, said in error.message_dict.items()}) from None
    person.save()
    return person


def _set_password(person: Person, password: str, *, field: str) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise BadInput({field: list(error.messages)}) from None
    person.set_password(password)


@transaction.atomic
def change_password(*, person: Person, old: str, new: str, now: datetime) -> None:
    """Set a new password after proving the old one."""
    prove(person, old, field="old_password")
    _set_password(person, new, field="new_password")
    person.save(update_fields=["password"])
    audit.record(farm=None, actor=person, verb="changed password of", subject=person, now=now)


def prove(person: Person, password: str, *, field: str = "password") -> None:
    """``BadInput`` on ``field`` unless this is the person's password. Used again at signing."""
    if not person.check_password(password):
        raise BadInput({field: gettext_noop("That is not your password. Nothing was changed.")})


@transaction.atomic
def edit_me(*, person: Person, changes: Mapping[str, str], now: datetime) -> Person:
    """Own name, phone, e-mail, language."""
    before, after = audit.changed(person, changes)
    for name, value in after.items():
        setattr(person, name, value)
    if after:
        person.save(update_fields=list(after))
        audit.record(farm=None, actor=person, verb="changed", subject=person, now=now, before=before, after=after)
    return person


@transaction.atomic
def set_place(
    *,
    member: Member,
    membership_id: int,
    expected_version: int,
    roles: Collection[Role | str],
    active: bool,
    now: datetime,
    family: bool | None = None,
) -> Membership:
    """Change a member's roles or end the membership; the last active manager stays.

    ``family``: an owner, or of an owner's immediate family (40 CFR 170.601(a)); ``None`` leaves it as it is.
    """
    member.require(Can.MANAGE_PEOPLE)
    Farm.objects.select_for_update().get(pk=member.farm.pk)  # two managers must not remove each other
    row = queries.member_in(member.farm, membership_id)
    changes = {**_role_columns(roles), "active": active}
    if family is not None:
        changes["family"] = family
    others = Membership.objects.for_farm(member.farm).filter(active=True, is_manager=True).exclude(pk=row.pk)
    if not (active and changes["is_manager"]) and not others.exists():
        raise refuse("last_manager", gettext_noop("A farm keeps at least one manager."), field="roles")
    if not active:
        ApiToken.objects.for_farm(member.farm).filter(person=row.person, revoked_at=None).update(revoked_at=now)
    saved: Membership = save_changes(row, member=member, expected_version=expected_version, changes=changes, now=now)
    return saved


@transaction.atomic
def set_birth_date(*, member: Member, membership_id: int, born_on: date | None, now: datetime) -> Membership:
    """A member's day of birth; supervised use of restricted products asks for it (40 CFR 171.201)."""
    member.require(Can.MANAGE_PEOPLE)
    row = queries.member_in(member.farm, membership_id)
    if born_on is not None and not timedelta(days=14 * 365) < now.date() - born_on < timedelta(days=110 * 365):
        raise BadInput({"born_on": gettext_noop("Enter a day of birth between 14 and 110 years ago.")})
    person: Person = row.person
    if person.born_on != born_on:
        person.born_on = born_on
        person.save(update_fields=["born_on"])
        audit.record(farm=member.farm, actor=member, verb="set the birth date of", subject=person, now=now)
    return row


@transaction.atomic
def make_token(*, member: Member, name: str, now: datetime) -> tuple[ApiToken, str]:
    """A key for programs, bound to this person and farm; returns the row and the key, shown once."""
    prefix, secret = secrets.token_hex(5), secrets.token_urlsafe(32)
    row = ApiToken.objects.add(
        farm=member.farm,
        person_id=member.person_id,
        name=name,
        prefix=prefix,
        secret_hash=digest(secret),
        created_at=now,
        expires_at=now + TOKEN_LIFE,
    )
    audit.record(farm=member.farm, actor=member, verb="made", subject=row, now=now)
    return row, f"{prefix}.{secret}"


@transaction.atomic
def revoke_token(*, member: Member, token_id: int, now: datetime) -> ApiToken:
    """End a key at once; only one's own."""
    row = queries.one(queries.tokens_of(member.farm, member.person_id).filter(pk=token_id))
    if row.revoked_at is None:
        row.revoked_at = now
        row.save(update_fields=["revoked_at"])
        audit.record(farm=member.farm, actor=member, verb="revoked", subject=row, now=now)
    return row
