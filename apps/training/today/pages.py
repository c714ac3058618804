"""Page of who may do what today."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from apps.people.rules import Can
from apps.training.queries import today
from apps.training.today import queries
from apps.training.today.api import asked_day
from apps.training.today.rules import DEED_NAMES, Deed
from farmops.web import FarmPage


class WhoMay(FarmPage):
    needs = {"GET": Can.READ_CERTIFICATES}
    template_name = "training/who_may.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        now_day = today(self.farm, self.now)
        day = asked_day(request.GET.get("on", "")) or now_day
        people = queries.who_may(self.farm, day)
        by_deed = [
            (DEED_NAMES[deed], [(p, next(leave for leave in p.leaves if leave.deed is deed)) for p in people])
            for deed in Deed
        ]
        return self.page({"deeds": by_deed, "on_day": day, "is_today": day == now_day})
