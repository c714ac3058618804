"""Keeping the answers people got, and telling the managers when a later record speaks against one."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member, person_ids_with
from apps.people.rules import Role
from apps.reminders import services as reminders
from apps.reminders.rules import Level, register
from apps.safety.reading import Ground
from apps.safety.rules import Answer, Word
from apps.safety.seen.models import AnswerGiven, PossibleExposure
from apps.safety.seen.rules import EXPOSING, How, Yes, contradicted
from farmops.errors import gettext_noop

log = logging.getLogger(__name__)
POSSIBLE_EXPOSURE = register("possible_exposure", Level.DO_TODAY)


def keep_answer(
    *, member: Member, block: Block | Ground, answer: Answer, activity: str | None, rest: bool, how: How, now: datetime
) -> None:
    """Keep an answer if the farm wants that. Whatever breaks here, the answer is given all the same."""
    if not block.farm.keep_answers:
        return
    try:
        with transaction.atomic():
            write_answer(member.person_id, block, answer, activity=activity, rest=rest, how=how, now=now)
    except Exception:
        log.exception("an answer could not be kept")


def write_answer(
    person_id: int,
    block: Block | Ground,
    answer: Answer,
    *,
    activity: str | None,
    rest: bool,
    how: How,
    now: datetime,
    until: datetime | None = None,
) -> AnswerGiven:
    """The row itself; for a started task it is written whatever the farm's setting, ``until`` its expected end."""
    row: AnswerGiven = AnswerGiven.objects.add(
        farm=block.farm,
        block_id=block.pk,
        person_id=person_id,
        asked_at=now,
        about_at=answer.at,
        good_until=max(answer.good_until, until or answer.good_until),
        answer=answer.answer.value,
        activity=activity or "",
        rest=rest,
        how=how,
    )
    return row


def look_back(*, farm: Farm, member: Member | None, closures: Sequence[Any], now: datetime) -> list[PossibleExposure]:
    """Called with every closure just hung: who had a yes for a time that it closes? One query, more only if somebody.

    Each person is reported once for each source and block; the managers are told at once.
    """
    exposing = [row for row in closures if row.kind in EXPOSING and row.starts_at <= now]
    if not exposing:
        return []
    earliest = min(row.starts_at for row in exposing)
    given = AnswerGiven.objects.for_farm(farm).filter(
        answer=Word.YES, block_id__in={row.block_id for row in exposing}, good_until__gt=earliest, about_at__lt=now
    )
    answers = list(given.select_related("person").order_by("pk"))
    found: dict[tuple[str, int], dict[int, AnswerGiven]] = {}
    for row in exposing:
        mine = {a.pk: a for a in answers if a.block_id == row.block_id}
        for yes in contradicted(row.facts, map(_yes, mine.values()), now=now):
            found.setdefault((row.source, row.block_id), {})[yes.id] = mine[yes.id]
    raised = (_raise(farm, member, key, rows.values(), exposing, now) for key, rows in found.items())
    return [row for row in raised if row is not None]


def _yes(row: AnswerGiven) -> Yes:
    return Yes(
        id=row.pk, about_at=row.about_at, good_until=row.good_until, activity=row.activity, rest=row.rest
    )  # fmt: skip


def _raise(
    farm: Farm,
    member: Member | None,
    key: tuple[str, int],
    answers: Iterable[AnswerGiven],
    closures: Sequence[Any],
    now: datetime,
) -> PossibleExposure | None:
    source, block_id = key
    earlier = PossibleExposure.objects.for_farm(farm).filter(source=source, block_id=block_id)
    known = {line["answer"] for row in earlier for line in row.people}
    fresh = [a for a in answers if a.pk not in known]
    if not fresh:
        return None
    row: PossibleExposure = PossibleExposure.objects.add(
        farm=farm,
        block_id=block_id,
        source=source,
        found_at=now,
        products=sorted({name for c in closures if c.block_id == block_id for name in c.product_names}),
        people=[_line(a) for a in fresh],
    )
    audit.record(farm=farm, actor=member, verb="found", subject=row, now=now, after={"people": row.people})
    reminders.tell(
        farm=farm,
        kind=POSSIBLE_EXPOSURE,
        subject=("exposure", row.pk),
        occasion="found",
        to=person_ids_with(farm, Role.MANAGER),
        template=gettext_noop(
            "Possible exposure in {block}: {people} had an “Entry allowed” for a time that the record now says was "
            "closed. Act now: open this notice for the steps and the numbers to call."
        ),
        numbers={"block": str(row.block), "people": ", ".join(sorted({line["name"] for line in row.people}))},
        path=f"/f/{farm.slug}/exposures/{row.pk}/",
        urgent=True,
        now=now,
    )
    return row


def _line(a: AnswerGiven) -> dict[str, Any]:
    return {
        "answer": a.pk,
        "person_id": a.person_id,
        "name": a.person.full_name,
        "from": a.about_at.isoformat(),
        "to": a.good_until.isoformat(),
        "activity": a.activity,
        "how": a.how,
    }
