"""Reading scans without their pictures, and one picture for those who may see it."""

from __future__ import annotations

from django.db.models import QuerySet

from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.training.models import CertificateScan
from farmops.errors import Unknown, gettext_noop


def scans(member: Member) -> QuerySet[CertificateScan]:
    """The scans somebody may see, without the pictures, newest first: managers all, others those of their own cards."""
    rows = CertificateScan.objects.for_farm(member.farm).defer("content").order_by("-id")
    rows = rows.select_related("certificate__person", "uploaded_by")
    return rows if member.can(Can.EDIT_CERTIFICATES) else rows.filter(certificate__person_id=member.person_id)


def scan(member: Member, scan_id: int) -> CertificateScan:
    """One scan with its picture; ``Unknown`` when it is not theirs to see or was taken away."""
    row: CertificateScan = one(scans(member).defer(None).filter(pk=scan_id))
    if row.content is None:
        raise Unknown(gettext_noop("This scan was taken away."))
    return row
