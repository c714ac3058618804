"""Certificates, their suspensions, and trainings on record."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.people.models import FarmOwned
from apps.training.rules import CertificateKind, TrainingKind
from farmops.uploads import MEDIA

CERTIFICATE_KINDS = [k.value for k in CertificateKind]
TRAINING_KINDS = [k.value for k in TrainingKind]


class Certificate(FarmOwned):
    """An applicator certificate of one person. A renewal is a new row beside the old one."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="certificates")
    number = models.CharField(max_length=40)
    jurisdiction = models.CharField(max_length=20, help_text="Issued by, as the farm writes its own")
    kind = models.CharField(max_length=12)
    categories = models.JSONField(default=list, help_text="Lower-case codes")
    valid_from = models.DateField()
    valid_to = models.DateField(help_text="Its last day")
    note = models.CharField(max_length=300, blank=True)
    credits_needed = models.DecimalField(
        max_digits=5, decimal_places=2, null=True, help_text="Credits the issuer asks for before it ends, to renew it"
    )
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(credits_needed=None) | Q(credits_needed__gt=0), name="certificate_credits_positive"
            ),
            models.UniqueConstraint(
                fields=["farm", "person", "jurisdiction", "number", "valid_from"], name="certificate_recorded_once"
            ),
            models.CheckConstraint(condition=Q(kind__in=CERTIFICATE_KINDS), name="certificate_kind_known"),
            models.CheckConstraint(condition=Q(valid_to__gte=F("valid_from")), name="certificate_ends_after_it_begins"),
            models.CheckConstraint(condition=~Q(number=""), name="certificate_has_a_number"),
        ]

    def __str__(self) -> str:
        return f"certificate {self.number} of {self.person}"


class Suspension(FarmOwned):
    """A time in which a certificate does not count. Open while ``lifted_on`` is empty."""

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="suspensions")
    from_on = models.DateField()
    reason = models.CharField(max_length=200)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    lifted_on = models.DateField(null=True, help_text="First day on which it counts again")
    lifted_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["certificate"], condition=Q(lifted_on=None), name="suspension_one_open_per_certificate"
            ),
            models.CheckConstraint(
                condition=Q(lifted_on=None, lifted_by=None)
                | Q(lifted_on__isnull=False, lifted_by__isnull=False, lifted_on__gte=F("from_on")),
                name="suspension_lifted_after_it_began",
            ),
        ]

    def __str__(self) -> str:
        return f"suspension of {self.certificate} from {self.from_on}"


class TrainingRecord(FarmOwned):
    """One training or clearance. Of the respirator only that a step was done and when. Struck, never deleted."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="trainings")
    kind = models.CharField(max_length=20)
    topic = models.CharField(max_length=64, blank=True, help_text="Product training: the topic the label names")
    trained_on = models.DateField()
    trainer = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=300, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    struck_at = models.DateTimeField(null=True)
    struck_because = models.CharField(max_length=200, blank=True)
    struck_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=TRAINING_KINDS), name="training_kind_known"),
            models.CheckConstraint(
                condition=(Q(kind="product") & ~Q(topic="")) | (~Q(kind="product") & Q(topic="")),
                name="training_topic_for_products_only",
            ),
            models.CheckConstraint(
                condition=Q(struck_at=None, struck_because="", struck_by=None)
                | (Q(struck_at__isnull=False, struck_by__isnull=False) & ~Q(struck_because="")),
                name="training_struck_says_why_and_who",
            ),
        ]
        indexes = [models.Index(fields=["farm", "person", "kind", "-trained_on"], name="training_newest")]

    def __str__(self) -> str:
        return f"{self.kind} training of {self.person} on {self.trained_on}"


class CertificateScan(FarmOwned):
    """A picture of a signed card. Kept in the database, so that no address on the disk can ever show it.

    ``media`` is what the content itself was found to be. Taken away means the picture is gone and the line stays.
    """

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="scans")
    media = models.CharField(max_length=20)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField(null=True)
    uploaded_at = models.DateTimeField()
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    removed_at = models.DateTimeField(null=True)
    removed_because = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["certificate", "sha256"], condition=Q(removed_at=None), name="scan_once_per_certificate"
            ),
            models.CheckConstraint(condition=Q(media__in=list(MEDIA)), name="scan_media_known"),
            models.CheckConstraint(
                condition=Q(removed_at=None, content__isnull=False, removed_because="")
                | (Q(removed_at__isnull=False, content=None) & ~Q(removed_because="")),
                name="scan_is_there_or_says_why_not",
            ),
        ]

    def __str__(self) -> str:
        return f"scan of {self.certificate}"


class Credit(FarmOwned):
    """Hours or units of a course that count toward renewing a certificate. Struck, never deleted."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="credits")
    jurisdiction = models.CharField(max_length=20, help_text="Whose certificate they count toward")
    held_on = models.DateField()
    amount = models.DecimalField(max_digits=5, decimal_places=2)
    course = models.CharField(max_length=160)
    course_number = models.CharField(max_length=60, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    struck_at = models.DateTimeField(null=True)
    struck_because = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="credit_positive"),
            models.CheckConstraint(
                condition=Q(struck_at=None, struck_because="") | (Q(struck_at__isnull=False) & ~Q(struck_because="")),
                name="credit_struck_says_why",
            ),
            models.UniqueConstraint(
                fields=["farm", "person", "jurisdiction", "held_on", "course"],
                condition=Q(struck_at=None),
                name="credit_recorded_once",
            ),
        ]

    def __str__(self) -> str:
        return f"credit of {self.person} on {self.held_on}"
