"""What is done with safety data sheets: put on file, taken away."""

from __future__ import annotations

import hashlib
from datetime import date, datetime

from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.products.models import Product, SafetySheet
from apps.products.queries import today
from apps.products.sds import queries
from farmops.errors import BadInput, gettext_noop
from farmops.uploads import fault, media_of

FIRST_YEAR = 1980
"""Older sheets are misprints: the duty to have them began in the years after (from memory)."""


@transaction.atomic
def keep_sheet(
    *, member: Member, product_id: int, sheet_on: date, hangs_at: str = "", content: bytes | None = None, now: datetime
) -> SafetySheet:
    """Put a product's safety data sheet on file: the date printed on it, and where it hangs, the paper, or both.

    ``BadInput`` names the field of a date that cannot be, of a file that is no whole JPEG, PNG or PDF, and of neither.
    """
    member.require(Can.EDIT_LABELS)
    product: Product = one(Product.objects.for_farm(member.farm).select_for_update().filter(pk=product_id))
    where, errors = hangs_at.strip(), {}
    if sheet_on.year < FIRST_YEAR or sheet_on > today(member.farm, now):
        errors["sheet_on"] = gettext_noop("Enter the date printed on the sheet; it cannot be later than today.")
    if len(where) > 200:
        errors["hangs_at"] = gettext_noop("Use 200 characters at most.")
    if content is not None and (said := fault(content)) is not None:
        errors["file"] = said
    elif content is None and not where:
        errors["hangs_at"] = gettext_noop("Say where the sheet hangs, or upload it.")
    if errors:
        raise BadInput(errors)
    values = {"sheet_on": sheet_on, "hangs_at": where, "media": "", "size": 0, "sha256": ""}
    if content is not None:
        digest = hashlib.sha256(content).hexdigest()
        values |= {"media": media_of(content), "size": len(content), "sha256": digest}
    row: SafetySheet = SafetySheet.objects.add(
        farm=member.farm,
        product=product,
        content=content,
        recorded_at=now,
        recorded_by_id=member.person_id,
        **values,
    )
    audit.record(farm=member.farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row


@transaction.atomic
def remove_sheet(*, member: Member, sheet_id: int, because: str, now: datetime) -> SafetySheet:
    """Take a wrong sheet off the file for good; that it was there, its hash and the reason stay."""
    member.require(Can.EDIT_LABELS)
    why = because.strip()
    if not why or len(why) > 200:
        raise BadInput({"because": gettext_noop("Enter why it is taken away.")})
    queries.sheet_in(member.farm, sheet_id)
    row: SafetySheet = SafetySheet.objects.for_farm(member.farm).select_for_update().get(pk=sheet_id)
    if row.removed_at is None:
        row.content, row.removed_at, row.removed_because = None, now, why
        row.save(update_fields=["content", "removed_at", "removed_because"])
        after = {"because": why, "sha256": row.sha256}
        audit.record(farm=member.farm, actor=member, verb="took away", subject=row, now=now, after=after)
    return row
