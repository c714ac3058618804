"""What is done with scans of cards: put in, looked at, taken away."""

from __future__ import annotations

import hashlib
from datetime import datetime

from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member
from apps.people.rules import Can
from apps.training import queries as training
from apps.training.models import Certificate, CertificateScan
from apps.training.scans import queries
from apps.training.scans.rules import UNSIGNED
from farmops.errors import BadInput, gettext_noop
from farmops.uploads import fault, media_of


@transaction.atomic
def add_scan(*, member: Member, certificate_id: int, content: bytes, signed: bool, now: datetime) -> CertificateScan:
    """Keep a scan of a card. ``signed``: whoever uploads it has seen the signatures on it.

    ``BadInput`` for anything that is no whole JPEG, PNG or PDF, too big, unsigned, or there already.
    """
    member.require(Can.EDIT_CERTIFICATES)
    training.certificate(member.farm, certificate_id)  # Unknown for another farm's
    row: Certificate = Certificate.objects.for_farm(member.farm).select_for_update().get(pk=certificate_id)
    if (said := fault(content)) is not None:
        raise BadInput({"scan": said})
    if signed is not True:
        raise BadInput({"signed": UNSIGNED})
    digest = hashlib.sha256(content).hexdigest()
    if queries.scans(member).filter(certificate=row, sha256=digest, removed_at=None).exists():
        raise BadInput({"scan": gettext_noop("This very file is there already.")})
    made: CertificateScan = CertificateScan.objects.add(
        farm=member.farm,
        certificate=row,
        media=media_of(content),
        size=len(content),
        sha256=digest,
        content=content,
        uploaded_at=now,
        uploaded_by_id=member.person_id,
    )
    after = {"media": made.media, "size": made.size, "sha256": digest, "signed": True}
    audit.record(farm=member.farm, actor=member, verb="added", subject=made, now=now, after=after)
    return made


@transaction.atomic
def fetch_scan(*, member: Member, scan_id: int, now: datetime) -> CertificateScan:
    """The picture, for a manager or the holder of the card; every look is audited."""
    row = queries.scan(member, scan_id)
    audit.record(farm=member.farm, actor=member, verb="looked at", subject=row, now=now)
    return row


@transaction.atomic
def remove_scan(*, member: Member, scan_id: int, because: str, now: datetime) -> CertificateScan:
    """Take a wrong picture away for good; that it was there, its hash and the reason stay."""
    member.require(Can.EDIT_CERTIFICATES)
    if not because.strip():
        raise BadInput({"because": gettext_noop("Enter why it is taken away.")})
    queries.scan(member, scan_id)
    row: CertificateScan = CertificateScan.objects.for_farm(member.farm).select_for_update().get(pk=scan_id)
    if row.removed_at is None:
        row.content, row.removed_at, row.removed_because = None, now, because.strip()
        row.save(update_fields=["content", "removed_at", "removed_because"])
        after = {"because": row.removed_because, "sha256": row.sha256}
        audit.record(farm=member.farm, actor=member, verb="took away", subject=row, now=now, after=after)
    return row
