"""A person's papers as the check reads them on a day."""

from __future__ import annotations

from datetime import date

from apps.spraying.rules import CertificateFact, TrainingFact, Worker
from apps.training.rules import Credentials, TrainingKind, respirator_until


def worker_on(known: Credentials | None, day: date) -> Worker | None:
    """Who applies or supervises, with what is on record of them on the day."""
    if known is None:
        return None
    return Worker(
        name=known.name,
        person_id=known.person_id,
        certificates=tuple(
            CertificateFact(
                number=c.number,
                jurisdiction=c.jurisdiction,
                valid_from=c.valid_from,
                valid_to=c.valid_to,
                categories=c.categories,
                suspended=c.suspended_on(day),
            )
            for c in known.certificates
        ),
        trainings=tuple(
            TrainingFact(topic=t.topic if t.kind is TrainingKind.PRODUCT else t.kind.value, done_on=t.trained_on)
            for t in known.trainings
        ),
        training_exempt=known.family,
        respirator_until=respirator_until(known, day),
        born_on=known.born_on,
    )
