"""Writing the audit trail, and answering the same request only once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from typing import Any, Protocol

from django.core.serializers.json import DjangoJSONEncoder
from django.db import IntegrityError, models, transaction

from apps.audit import whence
from apps.audit.models import AnsweredRequest, AuditEvent, FarmChange
from farmops.errors import BadInput, gettext_noop, refuse


class Actor(Protocol):
    """Whoever acts: a farm member or a person."""

    @property
    def person_id(self) -> int: ...

    @property
    def name(self) -> str: ...


def _plain(value: Mapping[str, Any] | None) -> dict[str, Any]:
    return dict(json.loads(json.dumps(value or {}, cls=DjangoJSONEncoder, default=str)))


def record(
    *,
    farm: models.Model | None,
    actor: Actor | None,
    verb: str,
    subject: models.Model,
    now: datetime,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> AuditEvent:
    """Append one line to the trail, and mark the farm's book as moved, in the caller's transaction."""
    if farm is not None:
        FarmChange.objects.create(farm_id=farm.pk)
    came = whence.current()
    return AuditEvent.objects.create(
        door=came.door,
        address=came.address,
        key=came.key,
        farm_id=farm.pk if farm is not None else None,
        at=now,
        actor_id=actor.person_id if actor else None,
        actor_name=actor.name if actor else "the farm book",
        verb=verb,
        subject_type=subject._meta.label_lower,
        subject_id=str(subject.pk),
        subject_name=str(subject)[:200],
        before=_plain(before),
        after=_plain(after),
    )


def changed(row: models.Model, changes: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """(before, after) of the columns in ``changes`` that really differ from ``row``."""
    before = {name: getattr(row, name) for name, new in changes.items() if getattr(row, name) != new}
    return before, {name: changes[name] for name in before}


def once(
    *,
    person_id: int,
    route: str,
    key: str,
    payload: object,
    now: datetime,
    act: Callable[[], tuple[int, Any]],
    forget: Collection[str] = (),
) -> tuple[int, Any, bool]:
    """Run ``act`` once per (person, route, key); later calls get the stored answer.

    The key row and the effect share one transaction, so a crash leaves neither or both.
    ``forget`` names parts of the answer that are shown this once and not stored.
    Returns (status, body, replayed). A key reused with another payload is ``Refused``.
    """
    if not 8 <= len(key) <= 100:
        raise BadInput({"Idempotency-Key": gettext_noop("Must be 8 to 100 characters, new for each new action.")})
    fingerprint = hashlib.sha256(json.dumps(payload, sort_keys=True, default=str).encode()).hexdigest()
    mine = {"person_id": person_id, "route": route[:300], "key": key}
    try:
        with transaction.atomic():
            row = AnsweredRequest.objects.create(**mine, fingerprint=fingerprint, created_at=now)
            status, body = act()
            row.status, row.body = status, _jsonable(_but(body, forget))
            row.save(update_fields=["status", "body"])
            return status, body, False
    except IntegrityError:
        earlier = AnsweredRequest.objects.filter(**mine).first()
        if earlier is None:
            raise
    if earlier.fingerprint != fingerprint:
        raise refuse(
            "key_reused", "This request key was already used for a different request.", field="Idempotency-Key"
        )
    return earlier.status or 409, earlier.body, True


def _but(body: Any, forget: Collection[str]) -> Any:
    return {k: v for k, v in body.items() if k not in forget} if forget and isinstance(body, Mapping) else body


def _jsonable(body: Any) -> Any:
    return json.loads(json.dumps(body, cls=DjangoJSONEncoder, default=str))
