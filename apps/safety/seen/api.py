"""API doors: who was told what, and possible exposures. For managers."""

from __future__ import annotations

from django.db.models import QuerySet

from apps.people.rules import Can
from apps.safety.seen import queries
from apps.safety.seen import serializers as shapes
from apps.safety.seen.models import AnswerGiven, PossibleExposure
from farmops.web import FarmList


class AnswersGiven(FarmList):
    """Answers people got, newest first; empty unless the farm keeps them."""

    needs = {"GET": Can.READ_AUDIT}
    serializer_class = shapes.AnswerGivenOut
    queryset = AnswerGiven.rows.none()

    def rows(self) -> QuerySet[AnswerGiven]:
        return queries.answers(self.farm)


class PossibleExposures(FarmList):
    """What later records say about people who had a yes, newest first."""

    needs = {"GET": Can.READ_AUDIT}
    serializer_class = shapes.PossibleExposureOut
    queryset = PossibleExposure.rows.none()

    def rows(self) -> QuerySet[PossibleExposure]:
        return queries.exposures(self.farm)
