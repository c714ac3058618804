"""Early entry: what the board knows about the ground, what a worker has used, what was decided."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db.models import QuerySet

from apps.land.models import Block
from apps.people import queries as people
from apps.people.models import Farm, Person
from apps.products.models import Product
from apps.products.queries import label_in_force
from apps.safety import queries as board
from apps.safety.early.models import EarlyEntry
from apps.safety.posting.models import Posting
from apps.safety.rules import CONDITIONS, Closure, Kind, Reason
from apps.safety.rules.early import Ground, Route, Stay, ended_at, last_end
from apps.safety.rules.notice import Notice
from farmops import clock
from farmops.errors import Unknown

LOOK_BACK = timedelta(hours=48)


def entries(farm: Farm) -> QuerySet[EarlyEntry]:
    """Every decision, newest first."""
    found = EarlyEntry.objects.for_farm(farm).select_related("block", "worker", "supervisor", "farm")
    return found.order_by("-starts_at", "-pk")


def ground_of(block: Block, at: datetime, now: datetime) -> Ground:
    """What rules early entry on a block at ``at``, from what is on record now. Two queries."""
    hung = [c for c in board.closures_on([block.pk], now)[block.pk] if _counts(c, at)]
    entry = [c for c in hung if c.kind is Kind.ENTRY]
    return Ground(
        ended_at=last_end([ended_at(c.numbers.get("hours", ""), c.ends_at) for c in entry if _timed(c)]),
        confirmed=all(c.kind is Kind.ENTRY for c in hung),
        level_open=any(c.reason_code is Reason.UNTIL_LEVEL for c in entry),
        double_notice=_double(block.farm, {c.source for c in entry}),
    )


def _counts(closure: Closure, at: datetime) -> bool:
    """A wait before harvest and a sign say nothing here; a window counts once it has begun."""
    return closure.kind not in {Kind.HARVEST, Kind.POSTED} and closure.starts_at <= at


def _timed(closure: Closure) -> bool:
    """A label's condition hangs beside its hours; alone it leaves the end unknown through the missing hours."""
    return closure.reason_code not in CONDITIONS


def _double(farm: Farm, sources: set[str]) -> bool:
    """Whether a label asks for both kinds of notice; not on record counts as yes."""
    needs = dict(Posting.objects.for_farm(farm).filter(source__in=sources).values_list("source", "needs"))
    return any(needs.get(source, Notice.BOTH) == Notice.BOTH for source in sources)


def used(farm: Farm, worker_id: int, around: datetime) -> tuple[Stay, ...]:
    """A worker's early entries over all fields near a time: as decided until it is said how long it was. One query."""
    rows = EarlyEntry.objects.for_farm(farm).filter(
        worker_id=worker_id, starts_at__gt=around - LOOK_BACK, starts_at__lt=around + LOOK_BACK
    )
    counted = rows.exclude(route__in=[Route.HANDLER, Route.NO_CONTACT]).order_by("starts_at")
    return tuple(Stay(starts_at=r.starts_at, minutes=_minutes(r)) for r in counted)


def _minutes(row: EarlyEntry) -> int:
    return row.minutes if row.minutes_used is None else row.minutes_used


def worker(farm: Farm, person_id: int) -> Person | None:
    """Somebody who works on this farm now; ``None`` for anybody else."""
    try:
        people.active_member_for_person(farm, person_id)
    except Unknown:
        return None
    return Person.objects.get(pk=person_id)


def age_on(person: Person, on: date) -> int | None:
    """Whole years on a day; not known without a date of birth."""
    born = person.born_on
    if born is None:
        return None
    return on.year - born.year - ((on.month, on.day) < (born.month, born.day))


def workers(farm: Farm) -> list[tuple[int, str]]:
    """(person id, name) of everybody who works on the farm."""
    return [(m.person_id, m.person.full_name) for m in people.members(farm) if m.active]


def gear_on_labels(block: Block, now: datetime) -> list[tuple[str, tuple[str, ...]]]:
    """(product, early-entry gear in its label's words) for what keeps the block shut; empty gear: look at the label."""
    hung = board.closures_on([block.pk], now)[block.pk]
    names = sorted({name for c in hung if c.kind is Kind.ENTRY for name in c.product_names})
    today = clock.to_local(now, block.farm.time_zone).date()
    found = {p.name: p for p in Product.objects.for_farm(block.farm).filter(name__in=names)}
    return [(name, _gear(found.get(name), today)) for name in names]


def _gear(product: Product | None, today: date) -> tuple[str, ...]:
    version = label_in_force(product, today) if product is not None else None
    return version.facts.ppe.early_entry if version is not None else ()
