"""What the endpoints of a farm are told: one call for each notice, however many people hear it."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from apps.people.models import Farm
from apps.reminders import letters, rules
from apps.reminders.models import Call, Endpoint, Notice

HOOK_FAILING = rules.register("webhook_failing", rules.Level.DO_TODAY)
HOOK_OFF = rules.register("webhook_off", rules.Level.DO_TODAY)
LETTER_LOST = rules.register("letter_lost", rules.Level.DO_TODAY)
UNTOLD = {HOOK_FAILING, HOOK_OFF, LETTER_LOST}
"""About the delivery itself: people hear it, programs do not."""


def announce(farm: Farm, rows: Sequence[Notice], *, event: str, now: datetime) -> None:
    """Put a call for each endpoint that listens to these notices into the outbox, in the caller's transaction."""
    told = {_key(row): row for row in rows if row.kind not in UNTOLD}
    if not told:
        return
    fresh = [
        _call(farm, endpoint, row, event, now)
        for endpoint in Endpoint.objects.for_farm(farm).filter(off_at=None)
        for row in told.values()
        if not endpoint.kinds or row.kind in endpoint.kinds
    ]
    if fresh:
        Call.objects.for_farm(farm).bulk_create(fresh, ignore_conflicts=True, batch_size=200)


def _key(row: Notice) -> tuple[Any, ...]:
    return (row.kind, row.subject_type, row.subject_id, row.occasion, row.turn)


def _call(farm: Farm, endpoint: Endpoint, row: Notice, event: str, now: datetime) -> Call:
    return Call(
        farm=farm,
        endpoint=endpoint,
        message_id=f"msg_{secrets.token_hex(16)}",
        event=event,
        kind=row.kind,
        subject_type=row.subject_type,
        subject_id=row.subject_id,
        occasion=row.occasion,
        turn=row.turn,
        body=_body(farm, row, event, now),
        created_at=now,
        due_at=now,
    )


def _body(farm: Farm, row: Notice, event: str, now: datetime) -> dict[str, Any]:
    """``type``, ``timestamp`` and ``data``, as the open form suggests. No names of people: ids stay in the book."""
    return {
        "type": f"notice.{event}",
        "timestamp": now.isoformat(),
        "data": {
            "farm": farm.slug,
            "kind": row.kind,
            "level": rules.level_of(row.kind, urgent=row.urgent).value,
            "subject_type": row.subject_type,
            "subject_id": row.subject_id,
            "occasion": row.occasion,
            "turn": row.turn,
            "sentence": letters.said(row, "en"),
            "path": row.path,
            "starts_at": row.starts_at.isoformat() if row.starts_at else None,
            "ends_at": row.ends_at.isoformat() if row.ends_at else None,
        },
    }
