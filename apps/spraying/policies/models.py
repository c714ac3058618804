"""A farm's own resistance advice, one rule a row."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.people.models import FarmOwned
from apps.products.rules import Scheme


def _count() -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(null=True)


class AdviceRule(FarmOwned):
    """Advice on one resistance group (``code`` empty: each group of the scheme). It never refuses.

    ``preset`` is the shipped table the row was copied from (empty: the farm's own) and ``source`` where the advice
    stands. Rows count only while the spray settings say that the farm follows its own table.
    """

    scheme = models.CharField(max_length=4)
    code = models.CharField(max_length=6, blank=True)
    target_classes = models.JSONField(default=list)
    max_in_a_row = _count()
    window_most = _count()
    window_of = _count()
    max_per_crop = _count()
    max_per_year = _count()
    share_part = _count()
    share_whole = _count()
    share_from = models.PositiveSmallIntegerField(default=3)
    few = _count()
    generation_days = _count()
    needs_multisite = models.BooleanField(default=False)
    rest_equal = models.BooleanField(default=False)
    never_after_failure = models.BooleanField(default=False)
    carry_over = models.BooleanField(default=False)
    source = models.CharField(max_length=300)
    preset = models.CharField(max_length=30, blank=True)
    edited = models.BooleanField(default=False, help_text="Changed since it was copied from the shipped table")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(scheme__in=[s.value for s in Scheme]), name="advice_scheme_known"),
            models.CheckConstraint(
                condition=Q(window_most=None, window_of=None) | Q(window_most__gte=1, window_of__gt=F("window_most")),
                name="advice_window_whole",
            ),
            models.CheckConstraint(
                condition=Q(share_part=None, share_whole=None) | Q(share_part__gte=1, share_whole__gt=F("share_part")),
                name="advice_share_whole",
            ),
            models.CheckConstraint(condition=~Q(source=""), name="advice_names_its_source"),
        ]
        indexes = [models.Index(fields=["farm", "scheme", "code"], name="advice_by_group")]

    def __str__(self) -> str:
        return f"advice on {self.scheme.upper()} {self.code or 'every group'}"
