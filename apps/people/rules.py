"""Who may do what on a farm: one table, asked by pages, API, templates and services."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum, nonmember

from farmops.errors import gettext_noop


class Role(StrEnum):
    """What a member is on one farm; a person may hold several."""

    MANAGER = "manager"
    APPLICATOR = "applicator"
    STAFF = "staff"


ROLE_NAMES = {
    Role.MANAGER: gettext_noop("manager"),
    Role.APPLICATOR: gettext_noop("applicator"),
    Role.STAFF: gettext_noop("staff"),
}


def held(*, manager: bool, applicator: bool, staff: bool) -> frozenset[Role]:
    """The roles behind the three columns of a membership."""
    return _HELD[bool(manager), bool(applicator), bool(staff)]


_HELD = {
    (m, a, s): frozenset(role for role, yes in zip(Role, (m, a, s), strict=True) if yes)
    for m in (False, True)
    for a in (False, True)
    for s in (False, True)
}


class Can(StrEnum):
    """Capabilities. A door declares the ones it needs; a service asks again."""

    do_not_call_in_templates = nonmember(True)  # a template would call the class and find nothing

    READ_FARM = "read_farm"  # board, land, crops, labels, own tasks and notices
    EDIT_FARM = "edit_farm"
    MANAGE_PEOPLE = "manage_people"
    EDIT_LAND = "edit_land"
    EDIT_CROPS = "edit_crops"
    SCOUT = "scout"
    EDIT_LABELS = "edit_labels"
    CHECK_LABELS = "check_labels"
    READ_SHED = "read_shed"
    EDIT_SHED = "edit_shed"
    EDIT_SPRAYERS = "edit_sprayers"
    READ_CERTIFICATES = "read_certificates"
    EDIT_CERTIFICATES = "edit_certificates"
    READ_JOBS = "read_jobs"
    PLAN_JOBS = "plan_jobs"
    ASSIGN_JOBS = "assign_jobs"
    SPRAY = "spray"
    SIGN = "sign"
    READ_RECORDS = "read_records"
    PLAN_TASKS = "plan_tasks"
    DO_TASKS = "do_tasks"
    READ_CHARTS = "read_charts"
    READ_AUDIT = "read_audit"
    POST_NOTICES = "post_notices"  # warning signs, spoken notice, the central display
    SUPERVISE_ENTRY = "supervise_entry"  # decide on early entry, under one's own name


_M, _A, _S = Role.MANAGER, Role.APPLICATOR, Role.STAFF

WHO_MAY: dict[Can, frozenset[Role]] = {
    Can.READ_FARM: frozenset({_M, _A, _S}),
    Can.EDIT_FARM: frozenset({_M}),
    Can.MANAGE_PEOPLE: frozenset({_M}),
    Can.EDIT_LAND: frozenset({_M}),
    Can.EDIT_CROPS: frozenset({_M}),
    Can.SCOUT: frozenset({_M, _A, _S}),
    Can.EDIT_LABELS: frozenset({_M}),
    Can.CHECK_LABELS: frozenset({_M, _A}),
    Can.READ_SHED: frozenset({_M, _A}),
    Can.EDIT_SHED: frozenset({_M, _A}),
    Can.EDIT_SPRAYERS: frozenset({_M, _A}),
    Can.READ_CERTIFICATES: frozenset({_M, _A}),
    Can.EDIT_CERTIFICATES: frozenset({_M}),
    Can.READ_JOBS: frozenset({_M, _A}),
    Can.PLAN_JOBS: frozenset({_M}),
    Can.ASSIGN_JOBS: frozenset({_M}),
    Can.SPRAY: frozenset({_A}),
    Can.SIGN: frozenset({_A}),
    Can.READ_RECORDS: frozenset({_M, _A}),
    Can.PLAN_TASKS: frozenset({_M}),
    Can.DO_TASKS: frozenset({_M, _A, _S}),
    Can.READ_CHARTS: frozenset({_M}),
    Can.READ_AUDIT: frozenset({_M}),
    Can.POST_NOTICES: frozenset({_M, _A}),
    Can.SUPERVISE_ENTRY: frozenset({_M, _A}),
}


def may(roles: Iterable[Role], can: Can) -> bool:
    """True when one of ``roles`` holds the capability; unknown capabilities are held by nobody."""
    return not WHO_MAY.get(can, frozenset()).isdisjoint(roles)


def who_may(can: Can) -> tuple[str, ...]:
    """The names of the roles that hold the capability, for the sentence that explains a refusal."""
    return tuple(ROLE_NAMES[r] for r in Role if r in WHO_MAY.get(can, frozenset()))
