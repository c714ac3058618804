"""The page that answers: why may I?"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from apps.people.rules import Can
from apps.spraying import queries
from apps.spraying.why.explaining import explained
from farmops.web import FarmPage


class WhyMayI(FarmPage):
    """Every rule that was asked about a job, grouped: stops, needs a reason, noted, passed."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "spraying/why.html"

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        row = queries.job(self.farm, job)
        return self.page({"job": row, **explained(row, self.now)})
