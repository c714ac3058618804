"""The head of a farm's chain: what is printed, mailed and kept elsewhere, and held against the book later."""

from __future__ import annotations

from datetime import datetime, time, timedelta

from django.apps import apps
from django.conf import settings

from apps.people.models import Farm
from apps.people.queries import person_ids_with
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register
from apps.reminders.rules.timing import next_at, next_midnight
from apps.spraying import queries
from apps.spraying.models import SprayRecord
from apps.spraying.rules.record import GENESIS, Fault, Head, head_fault, instant_text
from farmops import clock
from farmops.errors import gettext_noop

CHAIN_HEAD = register("chain_head", Level.DO_TODAY)  # at once: it stands until midnight only, and asks to be kept
MONDAY = 0
TOLD_AFTER = time(6, 0)
"""The head of the day goes out from six in the morning, farm time (project rule)."""


def head_of(farm: Farm, now: datetime) -> Head:
    """The head of a farm's book now: chain and every table that only grows."""
    last = queries.head(farm)
    return Head(
        farm=farm.slug,
        records=last.seq if last else 0,
        hash=last.hash if last else GENESIS,
        at=instant_text(now),
        grown={table: pair for table, model in _growing().items() if (pair := _grown(model, farm))[1]},
    )


def _growing() -> dict[str, type]:
    """The tables that only grow and belong to a farm."""
    found = {m._meta.db_table: m for m in apps.get_models() if m._meta.db_table in settings.APPEND_ONLY}
    return {table: model for table, model in found.items() if any(f.name == "farm" for f in model._meta.fields)}


def _of(model: type, farm: Farm):  # type: ignore[no-untyped-def]
    return model._base_manager.filter(farm_id=farm.pk)  # type: ignore[attr-defined]


def _grown(model: type, farm: Farm) -> tuple[int, int]:
    """(last id, rows)."""
    rows = _of(model, farm)
    return rows.order_by("-pk").values_list("pk", flat=True).first() or 0, rows.count()


def compare(farm: Farm, kept: Head) -> Fault | None:
    """What an earlier head says against the book as it is now."""
    rows = SprayRecord.objects.for_farm(farm)
    there = rows.filter(seq=kept.records).values_list("hash", flat=True).first()
    models = _growing()
    grown = {
        table: _of(models[table], farm).filter(pk__lte=last_id).count()
        for table, (last_id, _) in kept.grown.items()
        if table in models
    }
    return head_fault(kept, records=rows.count(), hash_there=there, grown=grown)


def next_due(farm: Farm, now: datetime) -> datetime:
    """When time alone may change ``due``: at the hour it is told, and with the farm's date."""
    return min(next_at(TOLD_AFTER, zone=farm.time_zone, after=now), next_midnight(now, farm.time_zone))


def due(farm: Farm, now: datetime) -> list[Due]:
    """The chain head of the day, once a day to the managers: their mailbox is the copy nobody here can rewrite."""
    local = clock.to_local(now, farm.time_zone)
    last = queries.head(farm)
    if last is None or local.time() < TOLD_AFTER:
        return []
    yesterday = datetime.combine(local.date() - timedelta(days=1), time(), tzinfo=local.tzinfo)
    if not _grew_since(farm, yesterday) and local.weekday() != MONDAY:
        return []
    template = gettext_noop(
        "Chain head of {day}: {records} signed records, {head}. Keep this letter: a book that was rewritten or cut "
        "short no longer agrees with it."
    )
    return [
        Due(
            kind=CHAIN_HEAD,
            subject_type="chain",
            subject_id=farm.pk,
            occasion=local.date().isoformat(),
            person_ids=person_ids_with(farm, Role.MANAGER),
            template=template,
            numbers={"day": local.date(), "records": str(last.seq), "head": last.hash},
            path=f"/f/{farm.slug}/records/proof/",
        )
    ]


def _grew_since(farm: Farm, since: datetime) -> bool:
    """Whether anything was signed lately; a quiet book is told of on Mondays only."""
    return SprayRecord.objects.for_farm(farm).filter(signed_at__gte=since).exists()
