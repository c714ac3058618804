"""Products and the versions of their labels."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.functional import cached_property

from apps.people.models import FarmOwned
from apps.products.rules import Kind, Label, read_label
from farmops.uploads import MEDIA


def hash_of(body: Any) -> str:
    """SHA-256 of a label document, whatever the order of its keys."""
    text = json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


class Product(FarmOwned):
    """Something that is sprayed: its name and registration. What it allows stands on its label versions."""

    name = models.CharField(max_length=120)
    registration_number = models.CharField(max_length=60, blank=True)
    kind = models.CharField(max_length=20)
    is_demo = models.BooleanField(default=False)
    retired_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("farm", Lower("name"), name="product_name_once_per_farm"),
            models.CheckConstraint(condition=Q(kind__in=[k.value for k in Kind]), name="product_kind_known"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def kind_code(self) -> Kind:
        return Kind(self.kind)


class LabelVersion(FarmOwned):
    """One version of a product's label as a document. A draft until checked against the paper; then fixed for good.

    A database trigger (``products.triggers``) keeps a checked version as it was checked.
    """

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="label_versions")
    number = models.PositiveIntegerField()
    effective_on = models.DateField()
    body = models.JSONField()
    body_hash = models.CharField(max_length=64)
    note = models.CharField(max_length=300, blank=True)
    transcribed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    transcribed_at = models.DateTimeField()
    checked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    checked_at = models.DateTimeField(null=True)
    checked_against = models.CharField(max_length=300, blank=True)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["product", "number"], name="label_number_once_per_product"),
            models.CheckConstraint(condition=Q(number__gte=1), name="label_number_from_one"),
            models.CheckConstraint(
                condition=Q(checked_at=None, checked_by=None, checked_against="")
                | Q(checked_at__isnull=False, checked_by__isnull=False) & ~Q(checked_against=""),
                name="label_check_whole_or_not_at_all",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None, withdrawn_by=None, withdrawn_reason="")
                | Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False) & ~Q(withdrawn_reason=""),
                name="label_withdrawal_whole_or_not_at_all",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product.name}, label version {self.number}"

    @property
    def is_draft(self) -> bool:
        """Not checked and not withdrawn: may still be edited, may not be used."""
        return self.checked_at is None and self.withdrawn_at is None

    @property
    def same_person(self) -> bool:
        """Whoever typed it off the paper also checked it: allowed, and shown."""
        return self.checked_by_id is not None and self.checked_by_id == self.transcribed_by_id

    @cached_property
    def facts(self) -> Label:
        """The document as facts."""
        return read_label(self.body)


class SafetySheet(FarmOwned):
    """A product's safety data sheet: the date printed on it, and where it hangs or the paper itself.

    Kept in the database like the scans of cards. Taken away means the paper is gone and the line stays.
    """

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="safety_sheets")
    sheet_on = models.DateField(help_text="The date printed on the sheet")
    hangs_at = models.CharField(max_length=200, blank=True)
    media = models.CharField(max_length=20, blank=True)
    size = models.PositiveIntegerField(default=0)
    sha256 = models.CharField(max_length=64, blank=True)
    content = models.BinaryField(null=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    removed_at = models.DateTimeField(null=True)
    removed_because = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(media__in=["", *MEDIA]), name="safety_sheet_media_known"),
            models.CheckConstraint(condition=~Q(hangs_at="") | ~Q(media=""), name="safety_sheet_can_be_found"),
            models.CheckConstraint(
                condition=Q(removed_at=None, removed_because="")
                | (Q(removed_at__isnull=False, content=None) & ~Q(removed_because="")),
                name="safety_sheet_is_there_or_says_why_not",
            ),
            models.CheckConstraint(
                condition=Q(media="", content=None)
                | Q(removed_at__isnull=False)
                | Q(content__isnull=False) & ~Q(media=""),
                name="safety_sheet_has_what_it_says",
            ),
        ]
        indexes = [models.Index(fields=["product", "-sheet_on", "-id"], name="safety_sheet_newest")]

    def __str__(self) -> str:
        return f"safety data sheet of {self.product.name}"
