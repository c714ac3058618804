"""Running the check on a job: every finding on every block, and how they are put together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from apps.equipment.rules import SprayerFacts
from apps.land.models import Block
from apps.spraying.facts import Moment, Situation
from apps.spraying.history import actual_rate, treated_acres
from apps.spraying.mixing import achieved_volume
from apps.spraying.models import Job
from apps.spraying.rules import CheckFacts, Weather, check
from farmops.errors import Finding, Severity, gettext_noop, needing_reason, worst_first
from farmops.wording import stamp

PROJECT = "project rule"


@dataclass(frozen=True, kw_only=True)
class BlockFindings:
    """Everything the check says about one block of a job, worst first."""

    block_id: int
    block_name: str
    facts: CheckFacts
    findings: tuple[Finding, ...]

    def as_json(self) -> dict[str, Any]:
        return {
            "block_id": self.block_id,
            "block": self.block_name,
            "findings": [f.as_json() for f in self.findings],
        }


def planned(job: Job, now: datetime) -> Moment:
    """The whole window: it may be sprayed at any time in it."""
    return Moment(start_at=job.window_starts_at, end_at=job.window_ends_at, now=now)


def starting(job: Job, weather: Weather, now: datetime) -> Moment:
    """Now, until the window ends; after it, for as long again as the window was."""
    length = job.window_ends_at - job.window_starts_at
    end_at = job.window_ends_at if now < job.window_ends_at else now + max(length, timedelta(hours=1))
    return Moment(start_at=now, end_at=end_at, now=now, weather=weather, at_start=True)


def done(job: Job, weather: Weather, now: datetime) -> Moment:
    """As reported: real times, real rates, the label versions the job went by; the shed is settled at signing."""
    acres = treated_acres(job.job_blocks.all())
    rates = {row.pk: rate for row in job.job_products.all() if (rate := actual_rate(row, acres)) is not None}
    return Moment(
        start_at=job.started_at,
        end_at=job.ended_at,
        now=now,
        weather=weather,
        at_start=True,
        rates={pk: rate for pk, rate in rates.items() if rate.quantity.amount > 0},
        kept_labels=True,
        stock=False,
        spray_gpa=achieved_volume(job),
    )


def check_job(job: Job, moment: Moment) -> tuple[BlockFindings, ...]:
    """The findings on each block; a constant number of queries for any number of blocks."""
    situation = Situation(job, moment)
    facts, sprayer = situation.facts(), situation.sprayer(situation.day(moment))
    return tuple(
        BlockFindings(
            block_id=row.block_id,
            block_name=str(row.block),
            facts=facts[row.pk],
            findings=tuple(worst_first([*check(facts[row.pk]), *beside_the_check(row.block, sprayer)])),
        )
        for row in situation.rows
    )


def beside_the_check(block: Block, sprayer: SprayerFacts) -> list[Finding]:
    """What stands against the block or the sprayer whatever the mix: no change of plan but another one answers it."""
    return [*_machine(sprayer), *_ground_in_use(block)]


def _machine(sprayer: SprayerFacts) -> list[Finding]:
    """Why the sprayer's calibration does not count, if so; a boom that failed its catch test stops the job.

    That a calibration is missing or old asks for a reason through the check itself.
    """
    why = sprayer.why
    if why is None or why.code == "calibration_missing":
        return []
    return [why if why.code == "calibration_failed" else replace(why, severity=Severity.NOTE)]


def _ground_in_use(block: Block) -> list[Finding]:
    if not block.archived:
        return []
    template = gettext_noop("{block} is no longer in use.")
    return [refusal("block_archived", template, "blocks", block=str(block))]


def before_assigning(job: Job, now: datetime) -> list[Finding]:
    """What the plan itself lacks before it can be given to somebody."""
    found = []
    if job.applicator_id is None:
        template = gettext_noop("Nobody is named as applicator.")
        found.append(refusal("applicator_missing", template, "applicator_id"))
    if job.window_ends_at <= now:
        template = gettext_noop("The window ended {until}. Plan a new one.")
        found.append(
            refusal("window_over", template, "window_ends_at", until=stamp(job.window_ends_at, job.farm.time_zone))
        )
    return found


def refusal(code: str, template: str, field: str = "", **numbers: str) -> Finding:
    """A refusal that rests on how the house works."""
    return Finding(code=code, severity=Severity.REFUSE, template=template, numbers=numbers, source=PROJECT, field=field)


def flat(blocks: Sequence[BlockFindings]) -> list[Finding]:
    """All findings in one list: what holds on every block once, the rest with the block's name before it."""
    holders: dict[tuple[Any, ...], list[tuple[str, Finding]]] = {}
    for block in blocks:
        for finding in block.findings:
            holders.setdefault(_same(finding), []).append((block.block_name, finding))
    found = []
    for rows in holders.values():
        everywhere = len({name for name, _ in rows}) == len(blocks)
        found += [rows[0][1]] if everywhere else [_on(name, finding) for name, finding in rows]
    return worst_first(found)


def _same(finding: Finding) -> tuple[Any, ...]:
    return (finding.code, finding.template, tuple(sorted(finding.numbers.items())), finding.source, finding.subject)


def _on(block_name: str, finding: Finding) -> Finding:
    said = set(finding.numbers.values())
    return replace(finding, subject=", ".join(t for t in (block_name, finding.subject) if t and t not in said))


def unanswered(blocks: Sequence[BlockFindings], answered: Iterable[dict[str, Any]]) -> list[Finding]:
    """What needs a reason now and did not when the job was assigned (``answered`` is the stored snapshot)."""
    known = {
        (row["block_id"], f["code"], f["subject"])
        for row in answered
        for f in row["findings"]
        if f["severity"] == Severity.JUSTIFY
    }
    fresh = [
        replace(
            b, findings=tuple(f for f in needing_reason(b.findings) if (b.block_id, f.code, f.subject) not in known)
        )
        for b in blocks
    ]
    return flat(fresh)


def snapshot(blocks: Iterable[BlockFindings]) -> list[dict[str, Any]]:
    """The findings as they are stored with a job and copied into its record."""
    return [b.as_json() for b in blocks]


def reason_missing(field: str = "reason") -> Finding:
    """The refusal that asks for a written reason."""
    return Finding(
        code="reason_missing",
        severity=Severity.REFUSE,
        template=gettext_noop("Write down why this job may go ahead all the same."),
        source=PROJECT,
        field=field,
    )


def nothing_to_sign() -> Finding:
    """Why there is no read-back."""
    return refusal("nothing_to_sign", gettext_noop("There is nothing to sign on this job now."))
