"""Reading the record rules of a farm, how its records stand against them, and what is late or missing."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.db.models import Exists, OuterRef, Q, QuerySet

from apps.inventory.queries import supplied
from apps.people.models import Farm
from apps.products.sds.queries import on_file
from apps.spraying import queries
from apps.spraying.amending import queries as amending
from apps.spraying.models import Job, JobProduct, SprayRecord
from apps.spraying.records.models import FarmRecordRule, RecordNote
from apps.spraying.records.presets import PRESETS
from apps.spraying.records.rules import (
    Kept,
    RecordRule,
    Sprayed,
    Standing,
    by_code,
    first_due,
    from_json,
    standings,
)
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.states import JobState
from farmops.errors import gettext_noop

LOOK_BACK = timedelta(days=400)
"""Late and blank records are listed this far back: a season and the year before its papers are asked for."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A rule the farm may go by, whether it does, and whether it is its own (``version`` 0 = never touched)."""

    rule: RecordRule
    in_use: bool
    own: bool
    version: int


def choices(farm: Farm) -> list[Choice]:
    """Every shipped rule and every rule of the farm's own. Shipped ones of its state and the country are in use."""
    rows = {row.code: row for row in FarmRecordRule.objects.for_farm(farm)}
    found = [_shipped(rule, rows.get(rule.code), farm) for rule in PRESETS]
    own = [row for row in rows.values() if row.body is not None]
    return found + [
        Choice(rule=from_json(row.body), in_use=row.in_use, own=True, version=row.version)
        for row in sorted(own, key=lambda r: r.pk)
    ]


def _shipped(rule: RecordRule, row: FarmRecordRule | None, farm: Farm) -> Choice:
    if row is not None:
        return Choice(rule=rule, in_use=row.in_use, own=False, version=row.version)
    here = farm.jurisdiction.upper().removeprefix("US-")
    return Choice(rule=rule, in_use=rule.jurisdiction in ("US", here), own=False, version=0)


def rules_of(farm: Farm) -> tuple[RecordRule, ...]:
    """The rules this farm goes by."""
    return tuple(c.rule for c in choices(farm) if c.in_use)


def kept(farm: Farm) -> Kept:
    """What the book keeps beside its records that a rule may ask for. A constant number of queries."""
    return Kept(safety_sheets=on_file(farm), supplied=supplied(farm))


def shipped(code: str) -> RecordRule | None:
    """A shipped rule by its code."""
    return by_code(PRESETS).get(code)


def first_signed(record: SprayRecord) -> datetime:
    """When the first edition of this record was signed."""
    first = amending.editions(record.job).values_list("signed_at", flat=True).first()
    return first or record.signed_at


def standings_of(record: SprayRecord, rules: Iterable[RecordRule] | None = None) -> list[Standing]:
    """How one record stands against the rules of its farm; nothing for one that says nothing was applied."""
    if record.meaning != Meaning.APPLIED:
        return []
    asked = rules_of(record.farm) if rules is None else rules
    content = json.loads(record.body_text)["content"]
    return standings(asked, content, first_signed(record), kept(record.farm))


# ---- late and missing ------------------------------------------------------------------


class End(StrEnum):
    """Why something is on the list of loose ends."""

    UNREPORTED = "unreported"
    UNSIGNED = "unsigned"
    OPEN_AGAIN = "open_again"
    LATE = "late"
    BLANKS = "blanks"


END_NAMES = {
    End.UNREPORTED: gettext_noop("no report"),
    End.UNSIGNED: gettext_noop("not signed"),
    End.OPEN_AGAIN: gettext_noop("open again, not signed"),
    End.LATE: gettext_noop("signed after its time"),
    End.BLANKS: gettext_noop("blanks"),
}


@dataclass(frozen=True, kw_only=True)
class LooseEnd:
    """One thing somebody still has to do. It leaves the list by being done, or explained."""

    end: End
    job: Job
    due_at: datetime | None
    rule: RecordRule | None
    record: SprayRecord | None = None
    standings: tuple[Standing, ...] = ()


def open_ends(farm: Farm, now: datetime) -> list[LooseEnd]:
    """Jobs that were or may have been sprayed and have no signed record, the first due first. Constant queries."""
    past = Q(state__in=[JobState.ASSIGNED, JobState.SPRAYING], window_ends_at__lte=now)
    waiting = queries.jobs(farm).filter(past | Q(state=JobState.SPRAYED) | Q(doubt=True))
    rules = rules_of(farm)
    found = [_open_end(job, rules) for job in waiting]
    return sorted(found, key=lambda e: (e.due_at is None, e.due_at or now, e.job.pk))


def _open_end(job: Job, rules: Iterable[RecordRule]) -> LooseEnd:
    due = first_due(rules, _sprayed(job))
    end = End.OPEN_AGAIN if job.signed_before else End.UNSIGNED if job.state == JobState.SPRAYED else End.UNREPORTED
    return LooseEnd(end=end, job=job, due_at=due[0] if due else None, rule=due[1] if due else None)


def _sprayed(job: Job) -> Sprayed:
    """What decides which rules bind a job nobody has signed: the end as reported, else of its window."""
    versions = [line.label_version for line in _lines(job)]
    known = [None if v is None else v.facts.restricted_use for v in versions]
    restricted = True if True in known else None if None in known else False
    ended_at = job.ended_at or job.window_ends_at
    return Sprayed(ended_at=ended_at, zone=job.farm.time_zone, restricted=restricted, applicators=None)


def _lines(job: Job) -> list[JobProduct]:
    return list(job.job_products.all())


def unexplained(farm: Farm, now: datetime) -> QuerySet[SprayRecord]:
    """The newest editions that say what was applied and that nobody has written a note about."""
    noted = RecordNote.objects.for_farm(farm).filter(record=OuterRef("pk"))
    rows = amending.standing(farm).filter(meaning=Meaning.APPLIED, signed_at__gte=now - LOOK_BACK)
    return rows.filter(~Exists(noted)).exclude(job__state=JobState.SPRAYED)


def record_ends(farm: Farm, now: datetime) -> list[LooseEnd]:
    """Signed records that were late or have blanks and are not explained, newest first. One record in memory."""
    rules, found = rules_of(farm), []
    firsts = dict(
        SprayRecord.objects.for_farm(farm)
        .filter(edition=1, signed_at__gte=now - LOOK_BACK * 2)
        .values_list("job_id", "signed_at")
    )
    for row in unexplained(farm, now).order_by("-seq").iterator(200):
        content = json.loads(row.body_text)["content"]
        stands = standings(rules, content, firsts.get(row.job_id, row.signed_at))
        found += _ends_of(row, stands)
    return found


def _ends_of(row: SprayRecord, stands: list[Standing]) -> list[LooseEnd]:
    late = tuple(s for s in stands if s.late)
    blank = tuple(s for s in stands if s.missing)
    found = []
    for end, group in ((End.LATE, late), (End.BLANKS, blank)):
        if group:
            first = min(group, key=lambda s: (s.due_at is None, s.due_at or row.signed_at))
            loose = LooseEnd(end=end, job=row.job, due_at=first.due_at, rule=first.rule, record=row, standings=group)
            found.append(loose)
    return found


def notes(record: SprayRecord) -> QuerySet[RecordNote]:
    """What was written about a record, in order."""
    return RecordNote.objects.for_farm(record.farm).filter(record=record).select_related("by").order_by("pk")
