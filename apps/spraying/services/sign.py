"""Signing: the only way a spray becomes a record, and a block gets an opening time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.inventory import services as shed
from apps.people.models import Farm, Person
from apps.people.queries import Member
from apps.people.services import prove
from apps.spraying import checking, content, ground, queries
from apps.spraying.facts import source_of
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import GENESIS, Meaning, canonical, chain_hash, content_hash
from apps.spraying.rules.signing import Signing
from apps.spraying.rules.states import JobState, Step
from apps.spraying.services.moves import JOB_NOT_APPLIED, JOB_SIGNED, locked, managers, move, needed_text, tell
from farmops.errors import BadInput, Refused, Stale, gettext_noop
from farmops.units import Quantity

CHANGED = gettext_noop("What would be signed is no longer what you were shown. Read it again, then sign.")
UNTICKED = gettext_noop("Tick the box once you have checked the record.")


@transaction.atomic
def sign_off(
    *,
    member: Member,
    job_id: int,
    password: str,
    checked: bool,
    body_hash: str,
    now: datetime,
    expected_version: int | None = None,
) -> SprayRecord:
    """Sign what was read back. Only the applicator who did or supervised it, with the password again.

    ``body_hash`` is the hash that came with the read-back: anything else is ``Stale``. Writes the record,
    draws the stock down, and gives the blocks their entry and harvest times. All of it or nothing.
    """
    job = locked(member, job_id, Step.SIGN, expected_version=expected_version)
    signing = _proven(job, member, password, checked)
    body = content.applied(job, signing)
    _is_what_was_shown(body, body_hash)
    _draw_down(job, member, now)
    ground.close_for_signature(job, content.closures_after(job), member=member, now=now)
    record = _write(job, body, signing, member=member, now=now)
    move(job, Step.SIGN, member=member, now=now, details={"record": record.seq, "hash": record.hash})
    template = gettext_noop("Spray job {job} on {blocks} is signed by {who}: record {record}.")
    tell(job, JOB_SIGNED, "signed", managers(job), template, now=now, who=member.name, record=str(record.seq))
    return record


@transaction.atomic
def sign_not_applied(
    *,
    member: Member,
    job_id: int,
    password: str,
    checked: bool,
    body_hash: str,
    reason: str,
    now: datetime,
    expected_version: int | None = None,
) -> SprayRecord:
    """Sign that nothing was applied under this job: its closures come down, its stock is free again."""
    job = locked(member, job_id, Step.NOT_APPLIED, expected_version=expected_version)
    if job.state == JobState.CALLED_OFF and not job.doubt:
        template = gettext_noop("This job no longer closes any block: there is nothing left to sign.")
        raise Refused([checking.refusal("nothing_in_doubt", template)])
    why = needed_text(reason, "reason", gettext_noop("Say why nothing was applied."))
    signing = _proven(job, member, password, checked)
    body = content.not_applied(job, signing)
    _is_what_was_shown(body, body_hash)
    shed.release(farm=job.farm, member=member, source=source_of(job), now=now)
    ground.open_as_not_applied(job, member=member, now=now)
    record = _write(job, body, signing, member=member, now=now, reason=why)
    changes = {"doubt": False, "not_applied_at": now}
    details = {"record": record.seq, "hash": record.hash}
    move(job, Step.NOT_APPLIED, member=member, now=now, changes=changes, note=why, details=details)
    template = gettext_noop("{who} signed that nothing was applied under spray job {job} on {blocks}: {reason}")
    tell(job, JOB_NOT_APPLIED, "not applied", managers(job), template, now=now, who=member.name, reason=why)
    return record


def shown(job: Job, member: Member, meaning: Meaning) -> tuple[dict[str, Any], str, Signing]:
    """What this person would sign, its hash, and in which standing. Reads only."""
    signing = content.signing_of(job, member)
    body = content.applied(job, signing) if meaning is Meaning.APPLIED else content.not_applied(job, signing)
    return body, content_hash(body), signing


def _proven(job: Job, member: Member, password: str, checked: bool) -> Signing:
    """The right person, the ticked box and the password; nothing is written before all three hold."""
    signing = content.signing_of(job, member)
    if checked is not True:
        raise BadInput({"checked": UNTICKED})
    prove(Person.objects.get(pk=member.person_id), password)
    return signing


def _is_what_was_shown(body: Mapping[str, Any], shown_hash: str) -> None:
    if content_hash(body) != shown_hash.strip().lower():
        raise Stale(CHANGED)


def _draw_down(job: Job, member: Member, now: datetime) -> None:
    """Take what was used from the shed; by rising product id, so that two signatures cannot wait for each other."""
    for row in sorted(job.job_products.all(), key=lambda r: r.product_id):
        shed.draw_down(
            farm=job.farm,
            member=member,
            product_id=row.product_id,
            quantity=Quantity(row.actual_amount, row.actual_unit),
            source=source_of(job),
            now=now,
        )


def _write(
    job: Job, body: Mapping[str, Any], signing: Signing, *, member: Member, now: datetime, reason: str = ""
) -> SprayRecord:
    """Append the record to the farm's chain; the farm's row is locked so that the chain never forks."""
    Farm.objects.select_for_update(no_key=True).get(pk=job.farm_id)
    last = queries.head(job.farm)
    earlier = queries.record_of(job)
    seq, prev_hash = (1, GENESIS) if last is None else (last.seq + 1, last.hash)
    text = canonical(
        {
            "seq": seq,
            "edition": 1 if earlier is None else earlier.edition + 1,
            "supersedes": None if earlier is None else earlier.seq,
            "content": body,
            "signature": {
                "by": signing.name,
                "person_id": signing.person_id,
                "at": now,
                "meaning": body["statement"],
                "reason": reason,
                "checked": True,
                "shown_hash": content_hash(body),
            },
        }
    )
    return SprayRecord.objects.add(
        farm=job.farm,
        job=job,
        seq=seq,
        edition=1 if earlier is None else earlier.edition + 1,
        supersedes=earlier,
        prev_hash=prev_hash,
        hash=chain_hash(prev_hash, text),
        body_text=text,
        meaning=body["meaning"],
        signed_by_id=member.person_id,
        signed_at=now,
    )
