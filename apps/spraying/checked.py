"""What a door answers about a check: whether it stops, whether it asks for a reason, block by block."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from apps.spraying import checking
from apps.spraying.models import Job
from farmops.errors import needing_reason, refusals


def check_body(job: Job, now: datetime) -> dict[str, Any]:
    """The check of a job as it is planned, in the shape of ``CheckOut``. Nothing is written."""
    blocks = checking.check_job(job, checking.planned(job, now))
    about = checking.before_assigning(job, now)
    everything = [*about, *checking.flat(blocks)]
    return {
        "refused": bool(refusals(everything)),
        "needs_reason": bool(needing_reason(everything)),
        "job_findings": about,
        "blocks": [{"block_id": b.block_id, "block": b.block_name, "findings": b.findings} for b in blocks],
    }
