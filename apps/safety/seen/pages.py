"""Pages for managers: possible exposures with the steps to take, and who was told what."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext

from apps.people.rules import Can
from apps.safety.phones import queries as phones
from apps.safety.seen import queries
from apps.safety.seen.rules import STEPS
from farmops.web import FarmPage

MOST = 200


class Exposure(FarmPage):
    """One possible exposure: who, when, what, what to do now, whom to call."""

    needs = {"GET": Can.READ_AUDIT}
    template_name = "safety/seen/exposure.html"

    def get(self, request: HttpRequest, farm: str, exposure: int) -> HttpResponse:
        row = queries.exposure(self.farm, exposure)
        people = [
            {**line, "from_at": datetime.fromisoformat(line["from"]), "to_at": datetime.fromisoformat(line["to"])}
            for line in row.people
        ]
        numbers = phones.urgent(self.farm)
        steps = [gettext(step) for step in STEPS]
        return self.page({"row": row, "people": people, "steps": steps, "numbers": numbers})


class Seen(FarmPage):
    """Possible exposures and the last answers people got."""

    needs = {"GET": Can.READ_AUDIT}
    template_name = "safety/seen/seen.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        found = {"exposures": queries.exposures(self.farm)[:MOST], "answers": queries.answers(self.farm)[:MOST]}
        return self.page(found)
