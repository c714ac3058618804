"""Reading kept answers and possible exposures."""

from __future__ import annotations

from django.db.models import QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.safety.seen.models import AnswerGiven, PossibleExposure


def answers(farm: Farm) -> QuerySet[AnswerGiven]:
    """Everything somebody was told, newest first."""
    return AnswerGiven.objects.for_farm(farm).select_related("block", "person").order_by("-asked_at", "-pk")


def exposures(farm: Farm) -> QuerySet[PossibleExposure]:
    """Possible exposures, newest first."""
    return PossibleExposure.objects.for_farm(farm).select_related("block", "farm").order_by("-found_at", "-pk")


def exposure(farm: Farm, exposure_id: int) -> PossibleExposure:
    """One of them, or ``Unknown``."""
    return one(exposures(farm).filter(pk=exposure_id))
