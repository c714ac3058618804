"""The sweep: look at the farms that need it, and send what waits."""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import F, Q

from apps.audit.models import FarmChange
from apps.people.models import Farm
from apps.reminders import sources
from apps.reminders.delivery import hooks, mail
from apps.reminders.delivery.outbox import Delivered, Passing
from apps.reminders.models import Notice, SweepFault, SweepRun, Watch
from apps.reminders.services import escalating, telling
from apps.reminders.sources import Source

log = logging.getLogger(__name__)
LOOK_LEASE = timedelta(seconds=90)
"""How long a farm is left to the sweep that looks at it."""

LONGEST = timedelta(hours=6)
"""Every farm is looked at again after this time, whatever its sources say: the limit of any mistake of theirs."""

AFTER_FAULT = timedelta(minutes=1)
LOOK_BUDGET = timedelta(seconds=60)
CHANGES = 5000


@dataclass
class Swept:
    """What one sweep did."""

    looked: int = 0
    made: int = 0
    sent: int = 0
    failed: int = 0
    faults: int = 0
    errors: list[str] = field(default_factory=list)

    def add(self, delivered: Delivered) -> None:
        self.sent += delivered.sent
        self.failed += delivered.failed
        self.errors += delivered.errors


def sweep(now: datetime, *, machine: datetime | None = None) -> Swept:
    """Make the notices that are due, withdraw those whose reason is gone, escalate, and send what waits.

    May run twice at once, be killed at any line, or not run for an hour. A source that fails
    for a farm stops neither the other sources nor the other farms. ``machine`` is the machine's own
    time, for leases; without it ``now`` counts for both.
    """
    sources.know_kinds()
    passing, done = Passing(now, machine), Swept()
    _heartbeat(last_started_at=now)
    done.add(mail.deliver(passing))  # first, so that a slow source can never hold back the post
    _look_at_all(now, passing, done)
    done.made += escalating.escalate(now)
    done.add(mail.deliver(passing))
    done.add(hooks.deliver(passing))
    _heartbeat(
        last_finished_at=passing.now,
        sweeps=F("sweeps") + 1,
        looked=done.looked,
        made=done.made,
        sent=done.sent,
        failed=done.failed,
        error="; ".join(dict.fromkeys(done.errors))[:500],
    )
    return done


def _heartbeat(**values: object) -> None:
    rows = SweepRun.objects.filter(pk=SweepRun.ONLY)
    if not rows.update(**values):
        SweepRun.objects.bulk_create([SweepRun(pk=SweepRun.ONLY)], ignore_conflicts=True)
        rows.update(**values)


# ---- which farms -----------------------------------------------------------------------


def _look_at_all(now: datetime, passing: Passing, done: Swept) -> None:
    found, broken = sources.load_all()
    for path, error in broken.items():
        log.error("reminder source %s cannot be loaded", path, exc_info=error)
        done.errors.append(f"{path}: {type(error).__name__}")
    _look_everywhere_if_other_sources(found)
    for farm in _farms_to_look_at(now):
        if passing.elapsed > LOOK_BUDGET:
            done.errors.append("there was no time to look at every farm")
            return
        _look_at(farm, found, now, passing, done)


def _look_everywhere_if_other_sources(found: dict[str, Source]) -> None:
    mark = sources.fingerprint(found)
    if SweepRun.objects.filter(pk=SweepRun.ONLY).exclude(sources=mark).exists():
        Watch.objects.update(look_at=None)
        SweepRun.objects.filter(pk=SweepRun.ONLY).update(sources=mark)


def _farms_to_look_at(now: datetime) -> list[Farm]:
    """Farms whose book has moved, whose time has come, or that were never looked at; longest unseen first."""
    moved = FarmChange.objects.order_by().values_list("farm_id", flat=True).distinct()
    come = Watch.objects.filter(Q(look_at=None) | Q(look_at__lte=now)).values_list("farm_id", flat=True)
    never = Farm.objects.exclude(pk__in=Watch.objects.values("farm_id")).values_list("pk", flat=True)
    wanted = {*moved, *come, *never}
    if not wanted:
        return []
    looked = dict(Watch.objects.filter(farm__in=wanted).values_list("farm_id", "looked_at"))
    farms = Farm.objects.in_bulk(wanted).values()
    return sorted(farms, key=lambda farm: (looked.get(farm.pk) or datetime.min.replace(tzinfo=now.tzinfo), farm.pk))


# ---- one farm --------------------------------------------------------------------------


def _look_at(farm: Farm, found: dict[str, Source], now: datetime, passing: Passing, done: Swept) -> None:
    """Ask every source about one farm. Marks of changes are read before asking and removed after.

    Killed in between, the marks are still there and the claim ends by itself; a change that
    commits meanwhile leaves a mark of its own.
    """
    if not _claim(farm, passing.machine):
        return  # another sweep is looking
    marks = list(FarmChange.objects.filter(farm=farm).order_by("pk").values_list("pk", flat=True)[:CHANGES])
    faulty = set(SweepFault.objects.for_farm(farm).values_list("source", flat=True))
    again, standing = [now + LONGEST], telling.standing_on(farm)
    for path, source in found.items():
        again.append(_ask(farm, source, now, done, standing.get(path, []), was_faulty=path in faulty))
    done.looked += 1
    if marks:
        FarmChange.objects.filter(farm=farm, pk__in=marks).delete()
    Watch.objects.filter(farm=farm).update(look_at=min(again), looked_at=now, claimed_until=None)


def _claim(farm: Farm, machine: datetime) -> bool:
    free = Q(claimed_until=None) | Q(claimed_until__lte=machine)
    rows = Watch.objects.filter(free, farm=farm)
    if rows.update(claimed_until=machine + LOOK_LEASE):
        return True
    if Watch.objects.filter(farm=farm).exists():
        return False
    Watch.objects.bulk_create([Watch(farm=farm)], ignore_conflicts=True)
    return rows.update(claimed_until=machine + LOOK_LEASE) == 1


def _ask(
    farm: Farm, source: Source, now: datetime, done: Swept, standing: list[Notice], *, was_faulty: bool
) -> datetime:
    """Reconcile one source's notices; returns when it must be asked again."""
    try:
        again = source.next_due(farm, now) if source.next_due else now
        done.made += telling.reconcile(farm, source.path, list(source.due(farm, now)), now, standing=standing)
    except Exception as error:  # one farm's fault never stops another's
        log.exception("reminder source %s failed for farm %s", source.path, farm.slug)
        if not connection.is_usable():
            raise
        done.faults += 1
        _note_fault(farm, source.path, error, now)
        return now + AFTER_FAULT
    if was_faulty:
        SweepFault.objects.for_farm(farm).filter(source=source.path).delete()
    return now + LONGEST if again is None else max(again, now)


def _note_fault(farm: Farm, path: str, error: Exception, now: datetime) -> None:
    said = f"{type(error).__name__}: {error}"[:300]
    rows = SweepFault.objects.for_farm(farm)
    if not rows.filter(source=path).update(last_at=now, times=F("times") + 1, error=said):
        rows.bulk_create(
            [SweepFault(farm=farm, source=path, first_at=now, last_at=now, error=said)], ignore_conflicts=True
        )
