"""Reading notices: what is owed, what stands, and what is due."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from apps.people.models import Farm
from apps.people.queries import one, person_ids_with
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register, rolled
from apps.safety.models import Closure
from apps.safety.posting.models import Posting
from apps.safety.rules import Kind
from apps.safety.rules.notice import SIGN_AFTER, SIGN_AHEAD, Notice, sign_down_by, sign_earliest
from farmops.errors import gettext_noop

SIGN_UP_DUE = register("sign_up_due", Level.DO_TODAY)
SIGN_DOWN_DUE = register("sign_down_due", Level.DO_TODAY)
TELL_DUE = register("tell_workers_due", Level.DO_TODAY)


def postings(farm: Farm) -> QuerySet[Posting]:
    """Every notice, the latest application first."""
    found = Posting.objects.for_farm(farm).select_related("farm", "block", "up_by", "down_by", "told_by")
    return found.order_by("-starts_at", "-pk")


def posting(farm: Farm, posting_id: int) -> Posting:
    """One notice, or ``Unknown``."""
    return one(postings(farm).filter(pk=posting_id))


def locked(farm: Farm, posting_id: int) -> Posting:
    """The same, its row locked."""
    return one(postings(farm).select_for_update(of=("self",)).filter(pk=posting_id))


def standing(farm: Farm, now: datetime) -> QuerySet[Posting]:
    """Signs that stand, and notices still owed: those whose application keeps people out at ``now`` or later.

    Cost follows what hangs: a notice given by mouth leaves the list with the interval it was given for.
    """
    holding = Closure.objects.for_farm(farm).filter(
        source=OuterRef("source"), lifted_at=None, speaks_until__gt=now
    )  # fmt: skip
    owed = Q(dropped_at=None, up_at=None) & Exists(holding.exclude(kind=Kind.HARVEST))
    return postings(farm).filter(owed | Q(up_at__isnull=False, down_at=None))


def of_source(farm: Farm, source: str) -> QuerySet[Posting]:
    """The notices of one application."""
    return postings(farm).filter(source=source)


def signs_missing(farm: Farm, source: str) -> list[Posting]:
    """Where the application asks for a sign and none is on record."""
    asked = [n.value for n in Notice if n.needs_sign]
    return list(of_source(farm, source).filter(needs__in=asked, up_at=None, dropped_at=None))


def _closures_of(rows: Iterable[Posting]) -> dict[str, list[Closure]]:
    """source -> what hangs for it but for signs: one query."""
    wanted = list(rows)
    found: dict[str, list[Closure]] = {row.source: [] for row in wanted}
    if wanted:
        hung = Closure.objects.for_farm(wanted[0].farm).filter(source__in=found, lifted_at=None)
        for closure in hung:
            found[closure.source].append(closure)
    return found


def _holds(closure: Closure, now: datetime) -> bool:
    """Whether it still keeps workers out: anything but a wait before harvest or an interval that has run."""
    if closure.kind == Kind.HARVEST:
        return False
    return closure.kind != Kind.ENTRY or closure.ends_at is None or closure.ends_at > now


def ready_to_come_down(rows: Collection[Posting], now: datetime) -> set[int]:
    """Those of ``rows`` whose application keeps nobody out any more. One query."""
    hung = _closures_of(rows)
    return {row.pk for row in rows if not any(_holds(c, now) for c in hung[row.source])}


@dataclass(frozen=True, kw_only=True)
class Standing:
    """One notice as it is shown: what can be done with it, and by when."""

    row: Posting
    earliest: datetime
    ready: bool
    down_by: datetime | None

    @property
    def may_go_up(self) -> bool:
        return self.row.up_at is None and self.row.dropped_at is None

    @property
    def may_come_down(self) -> bool:
        return self.row.up_at is not None and self.row.down_at is None and self.ready


def shown(rows: Sequence[Posting], now: datetime) -> list[Standing]:
    """With what hangs for each application. One query."""
    hung = _closures_of(rows)
    return [_shown(row, hung[row.source], now) for row in rows]


def _shown(row: Posting, hung: Sequence[Closure], now: datetime) -> Standing:
    entry = [c for c in hung if c.kind == Kind.ENTRY]
    ends = [c.ends_at for c in entry]
    known = [end for end in ends if end is not None]
    over = None
    if known and len(known) == len(ends) and not any(_holds(c, now) for c in hung if c.kind != Kind.ENTRY):
        over = sign_down_by(interval_ends_at=max(known), ended_at=max(known))
    return Standing(
        row=row, earliest=sign_earliest(row.starts_at), ready=not any(_holds(c, now) for c in hung), down_by=over
    )


def due(farm: Farm, now: datetime) -> list[Due]:
    """Signs to put up or take down, workers to tell: one for all blocks of an application. Constant queries."""
    rows = list(standing(farm, now).filter(starts_at__lte=now + SIGN_AHEAD))
    if not rows:
        return []
    to = sorted({p for role in (Role.MANAGER, Role.APPLICATOR) for p in person_ids_with(farm, role)})
    found: dict[str, list[Due]] = {}
    for s in shown(rows, now):
        found.setdefault(s.row.source, []).extend(_lines(s, to, now))
    place = f"/f/{farm.slug}/signs/"
    return [
        d for source, said in found.items() for d in rolled(said, slot="block", subject=("signs", source), path=place)
    ]


def _lines(s: Standing, to: list[int], now: datetime) -> Iterable[Due]:
    row, needs = s.row, Notice(s.row.needs)
    if s.may_go_up and needs.needs_sign and not s.ready:
        template = gettext_noop("{about}: warning signs have to be up at {block} before spraying starts {starts}.")
        yield _due(SIGN_UP_DUE, row, "up", to, template)
    if row.told_at is None and row.dropped_at is None and needs.needs_spoken and not s.ready:
        template = gettext_noop("{about}: tell the workers by mouth to keep out of {block}; spraying starts {starts}.")
        yield _due(TELL_DUE, row, "tell", to, template)
    if s.may_come_down:
        template = gettext_noop("{about}: take the warning signs down at {block}. The ground stays closed until then.")
        late = s.down_by is not None and now > s.down_by
        if late:
            template = gettext_noop("{about}: the warning signs at {block} should be down since three days are over.")
        yield _due(SIGN_DOWN_DUE, row, "late" if late else "down", to, template)


def _due(kind: str, row: Posting, occasion: str, to: list[int], template: str) -> Due:
    return Due(
        kind=kind,
        subject_type="posting",
        subject_id=row.pk,
        occasion=occasion,
        person_ids=to,
        template=template,
        numbers={"about": row.about, "block": str(row.block), "starts": row.starts_at},
        path=f"/f/{row.farm.slug}/signs/",
    )


def next_due(farm: Farm, now: datetime) -> datetime | None:
    """When time alone changes what is due: a sign may go up, an interval has run, three days are over."""
    rows = list(standing(farm, now))
    hung = _closures_of(rows)
    ends = [c.ends_at for found in hung.values() for c in found if c.kind == Kind.ENTRY and c.ends_at is not None]
    moments = [sign_earliest(row.starts_at) for row in rows] + ends + [end + SIGN_AFTER for end in ends]
    return min((m for m in moments if m > now), default=None)
