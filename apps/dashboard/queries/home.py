"""What each role sees first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

from django.db.models import Q

from apps.dashboard.queries.stock import stock_facts
from apps.dashboard.rules import Need, Urgency, most_urgent
from apps.people.models import Farm
from apps.people.queries import Member, person_ids_with
from apps.people.rules import Role
from apps.products.queries import label_versions, today
from apps.safety import queries as board
from apps.safety.rules import Answer, Because, Word
from apps.spraying import queries as spraying
from apps.spraying.models import Job
from apps.spraying.rules.states import JobState
from apps.training.queries import credentials
from apps.training.rules import CertificateFacts, certificate_on
from apps.work import queries as work
from farmops import clock
from farmops.errors import gettext_noop
from farmops.units import Quantity
from farmops.wording import stamp

CARD_AHEAD = timedelta(days=30)
TABLE_ROWS = 8


@dataclass(frozen=True, kw_only=True)
class Closed:
    """A block nobody may enter now: ``opens_at`` ``None`` = no time is known."""

    block: Any
    answer: Answer

    @property
    def unsure(self) -> bool:
        return self.answer.answer is Word.UNKNOWN

    @property
    def opens_at(self) -> datetime | None:
        return self.answer.opens_at

    @property
    def because(self) -> Because | None:
        return self.answer.because[0] if self.answer.because else None


@dataclass(frozen=True, kw_only=True)
class Home:
    """The manager's first page: what is closed, what needs somebody, what is next."""

    blocks: int
    closed: list[Closed]
    first: Closed | None
    needs: list[Need]
    more_needs: int
    jobs: list[Job]

    @property
    def closed_shown(self) -> list[Closed]:
        return self.closed[:TABLE_ROWS]


@dataclass(frozen=True, kw_only=True)
class MyDay:
    """One person's own day."""

    job: Job | None
    more_jobs: int
    certificate: CertificateFacts | None
    tasks: list[Any]


def home(farm: Farm, now: datetime) -> Home:
    """Everything on the manager's first page; the query count does not grow with blocks, jobs or people."""
    lines = board.board(farm, at=now, now=now)
    closed = [Closed(block=line.block, answer=line.entry) for line in lines if line.entry.keep_out]
    closed.sort(key=lambda c: (not c.unsure, c.opens_at is not None, c.opens_at or now, str(c.block)))
    timed = [c for c in closed if c.opens_at is not None]
    needs, more = most_urgent(_needs(farm, now))
    return Home(
        blocks=len(lines),
        closed=closed,
        first=timed[0] if timed else None,
        needs=needs,
        more_needs=more,
        jobs=_next_two_days(farm, now),
    )


def my_day(member: Member, now: datetime) -> MyDay:
    """The person's next job, certificate and open tasks; a constant number of queries."""
    farm, me = member.farm, member.person_id
    mine = Q(applicator_id=me) | Q(supervisor_id=me)
    jobs = list(spraying.jobs_by_time(farm).filter(mine).exclude(state=JobState.DRAFT))
    in_hand = sorted(jobs, key=lambda j: (j.state == JobState.ASSIGNED, j.window_starts_at, j.pk))
    held = credentials(farm, [me]).get(me)
    return MyDay(
        job=in_hand[0] if in_hand else None,
        more_jobs=max(0, len(in_hand) - 1),
        certificate=certificate_on(held, today(farm, now), farm.jurisdiction) if held else None,
        tasks=list(work.tasks_of(farm, me)),
    )


def _next_two_days(farm: Farm, now: datetime) -> list[Job]:
    """Jobs of today and tomorrow, by window; also those of earlier days that are still being sprayed."""
    zone = clock.zone(farm.time_zone)
    start = datetime.combine(today(farm, now), time(), zone)
    end = datetime.combine(today(farm, now) + timedelta(days=2), time(), zone)
    soon = Q(window_starts_at__lt=end, window_ends_at__gt=start) & ~Q(state=JobState.CALLED_OFF)
    return list(spraying.jobs(farm).filter(soon | Q(state=JobState.SPRAYING)).order_by("window_starts_at", "id"))


# ---- what needs a manager --------------------------------------------------------------


def _needs(farm: Farm, now: datetime) -> Iterator[Need]:
    yield from _jobs(farm, now)
    yield from _labels(farm)
    yield from _stock(farm, now)
    yield from _cards(farm, now)


_SAID = {
    "sprayed": gettext_noop("Job {job} on {blocks} is sprayed and not signed by {who}. The blocks stay closed."),
    "assigned": gettext_noop("Job {job} on {blocks}: its window ended {until} and {who} has not reported."),
    "spraying": gettext_noop("Job {job} on {blocks} was started and its window ended {until}. Ask {who}."),
    "called_off": gettext_noop(
        "Job {job} on {blocks} was called off after its window began. {who} must sign or report."
    ),
}


def _jobs(farm: Farm, now: datetime) -> Iterator[Need]:
    """Jobs not signed, past their window, or in doubt."""
    late = Q(state__in=[JobState.ASSIGNED, JobState.SPRAYING], window_ends_at__lte=now)
    found = spraying.jobs(farm).filter(late | Q(state=JobState.SPRAYED) | Q(doubt=True))
    for job in found.order_by("window_ends_at", "id"):
        yield Need(
            urgency=Urgency.TODAY if job.state == JobState.SPRAYED else Urgency.NOW,
            template=_SAID[job.state],
            numbers={
                "job": str(job.number),
                "blocks": ", ".join(str(b.block) for b in job.job_blocks.all()),
                "until": stamp(job.window_ends_at, farm.time_zone),
                "who": job.applicator.full_name if job.applicator else "–",
            },
            path=f"/f/{farm.slug}/jobs/{job.pk}/",
            act=gettext_noop("Open the job"),
        )


def _labels(farm: Farm) -> Iterator[Need]:
    """Label versions that nobody has compared with the paper."""
    for row in label_versions(farm).filter(checked_at=None, withdrawn_at=None).order_by("id"):
        yield Need(
            urgency=Urgency.SOON,
            template=gettext_noop("Label {number} of {product} is not checked against the paper: no job may use it."),
            numbers={"number": str(row.number), "product": row.product.name},
            path=f"/f/{farm.slug}/labels/{row.pk}/",
            act=gettext_noop("Check the label"),
        )


def _stock(farm: Farm, now: datetime) -> Iterator[Need]:
    """Products of which jobs need more than there is."""
    for row in stock_facts(farm, now):
        if row.missing:
            yield Need(
                urgency=Urgency.SOON,
                template=gettext_noop("{product}: {missing} is missing for the jobs planned."),
                numbers={"product": row.product, "missing": str(Quantity(row.missing, row.unit))},
                path=f"/f/{farm.slug}/shed/",
                act=gettext_noop("Open the shed"),
            )


def _cards(farm: Farm, now: datetime) -> Iterator[Need]:
    """Applicators without a certificate that counts today, or with one that soon ends."""
    here = today(farm, now)
    known = credentials(farm, person_ids_with(farm, Role.APPLICATOR))
    for held in known.values():
        card = certificate_on(held, here, farm.jurisdiction)
        if card is None:
            template = gettext_noop("{who} has no certificate that counts here today.")
            yield _card(farm, Urgency.TODAY, template, {"who": held.name})
        elif card.valid_to <= here + CARD_AHEAD:
            template = gettext_noop("The certificate of {who} ends with {until}.")
            yield _card(farm, Urgency.SOON, template, {"who": held.name, "until": card.valid_to.isoformat()})


def _card(farm: Farm, urgency: Urgency, template: str, numbers: dict[str, str]) -> Need:
    path = f"/f/{farm.slug}/cards/"
    return Need(urgency=urgency, template=template, numbers=numbers, path=path, act=gettext_noop("Open the cards"))
