"""A job explained: findings by weight, and every rule that passed, block by block."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from apps.spraying import checking
from apps.spraying.models import Job
from apps.spraying.rules.passed import passed_rules
from apps.spraying.rules.states import JobState
from farmops.errors import Severity


def explained(job: Job, now: datetime) -> dict[str, Any]:
    """Everything about the job as it is planned, in the shape of ``ExplainedOut``. Nothing is written."""
    blocks = checking.check_job(job, checking.planned(job, now))
    about = checking.before_assigning(job, now) if job.state == JobState.DRAFT else []
    return {"job_findings": about, "blocks": [_block(block) for block in blocks]}


def _block(block: checking.BlockFindings) -> dict[str, Any]:
    by_weight = {s.value: [f for f in block.findings if f.severity is s] for s in Severity}
    passed = passed_rules(block.facts)
    return {
        "block_id": block.block_id,
        "block": block.block_name,
        "findings": block.findings,
        **by_weight,
        "passed": passed,
    }
