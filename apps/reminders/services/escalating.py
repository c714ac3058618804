"""A dangerous notice nobody acknowledges goes to the next person, then to everybody who can act."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import F, QuerySet

from apps.people import queries as people
from apps.people.rules import Role
from apps.reminders.models import Notice
from apps.reminders.rules import timing
from apps.reminders.services import telling

AT_ONCE = 200
"""How many one sweep escalates; the rest is a minute later."""


def escalate(now: datetime) -> int:
    """Take every dangerous notice whose time is over one rung up; returns how many people were told."""
    late = Notice.rows.filter(escalates_at__lte=now, seen_at=None, withdrawn_at=None)
    return sum(_one_up(pk, now) for pk in late.order_by("escalates_at", "pk").values_list("pk", flat=True)[:AT_ONCE])


@transaction.atomic
def _one_up(pk: int, now: datetime) -> int:
    row = Notice.rows.select_for_update(of=("self",)).select_related("farm").get(pk=pk)
    if row.escalates_at is None or row.escalates_at > now or row.withdrawn_at:  # another sweep was quicker
        return 0
    same = _same(row)
    told = list(same.filter(withdrawn_at=None).order_by("pk"))
    if any(other.seen_at is not None for other in told):
        same.update(escalates_at=None)
        return 0
    rung = max(other.rung for other in told) + 1
    told_at = row.escalates_at - timing.WAITS[rung - 1]  # for one that came back not when it was written
    same.update(escalates_at=timing.escalates_at(told_at, rung))
    return _tell_next(row, [other.person_id for other in told], rung, now)


def _tell_next(row: Notice, told: list[int], rung: int, now: datetime) -> int:
    """The same notice, worded as it was, to those who come next; again to those who heard it before it was over."""
    farm = row.farm
    managers, applicators = (people.person_ids_with(farm, role) for role in (Role.MANAGER, Role.APPLICATOR))
    hearers = timing.next_hearers(told, managers, applicators, rung)
    addresses = telling.working_here(farm, hearers)
    copies = [_copy(row, person_id, rung, now, has_address=bool(addresses[person_id])) for person_id in hearers]
    before = {old.person_id: old for old in _same(row).filter(person_id__in=hearers)}
    rows = Notice.objects.for_farm(farm)
    rows.bulk_create([copy for copy in copies if copy.person_id not in before], ignore_conflicts=True)
    for copy in copies:
        if old := before.get(copy.person_id):
            values = {name: getattr(copy, name) for name in AGAIN}
            rows.filter(pk=old.pk).update(**values, changed_at=now, version=F("version") + 1)
    return len(copies)


def _same(row: Notice) -> QuerySet[Notice]:
    """The notice as everybody has it."""
    return Notice.objects.for_farm(row.farm).filter(
        kind=row.kind, subject_type=row.subject_type, subject_id=row.subject_id, occasion=row.occasion
    )


SAME = ["farm_id", "kind", "subject_type", "subject_id", "occasion", "template", "numbers", "path", "urgent", "source"]
SAME += ["starts_at", "ends_at", "all_day", "turn", "things"]
AGAIN = ["template", "numbers", "path", "urgent", "starts_at", "ends_at", "all_day", "turn", "things", "due_at", "rung"]
AGAIN += ["withdrawn_at", "seen_at", "letter", "escalates_at"]


def _copy(row: Notice, person_id: int, rung: int, now: datetime, *, has_address: bool) -> Notice:
    own = {"person_id": person_id, "created_at": now, "due_at": now if has_address else None, "rung": rung}
    return Notice(**{name: getattr(row, name) for name in SAME}, **own)
