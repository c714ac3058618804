"""The notice each application asks for on each block, and when it was given and taken back."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.safety.rules.notice import Notice

_PERSON = settings.AUTH_USER_MODEL


def _somebody(at: str, by: str, name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(**{at: None, by: None}) | Q(**{f"{at}__isnull": False, f"{by}__isnull": False}), name=name
    )


class Posting(FarmOwned):
    """What one application (``source``, such as ``job:41``) asks for on one block. The facts are set once each.

    ``starts_at`` is the planned start; ``dropped_at`` says that nothing was applied, so that nothing is owed.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="postings")
    source = models.CharField(max_length=60)
    about = models.CharField(max_length=120, help_text="The application in words")
    needs = models.CharField(max_length=8)
    starts_at = models.DateTimeField()
    asked_at = models.DateTimeField()
    up_at = models.DateTimeField(null=True)
    up_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, null=True, related_name="+")
    down_at = models.DateTimeField(null=True)
    down_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, null=True, related_name="+")
    told_at = models.DateTimeField(null=True, help_text="When the workers were told by mouth")
    told_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, null=True, related_name="+")
    dropped_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["source", "block"], name="posting_once_per_application"),
            models.CheckConstraint(condition=Q(needs__in=[n.value for n in Notice]), name="posting_notice_known"),
            models.CheckConstraint(
                condition=Q(down_at=None) | Q(down_at__gte=F("up_at")), name="posting_down_after_up"
            ),
            _somebody("up_at", "up_by", "posting_up_by_somebody"),
            _somebody("down_at", "down_by", "posting_down_by_somebody"),
            _somebody("told_at", "told_by", "posting_told_by_somebody"),
        ]
        indexes = [models.Index(fields=["farm", "down_at", "dropped_at"], name="posting_standing")]

    def __str__(self) -> str:
        return f"notice of {self.about} on {self.block}"

    @property
    def sign_source(self) -> str:
        """What the board knows the sign by."""
        return f"sign:{self.pk}"
