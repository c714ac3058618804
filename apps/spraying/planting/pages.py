"""The page that answers for a planting: what stands in the plan, and what else somebody asks."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_noop

from apps.land import queries as land
from apps.people.rules import Can
from apps.spraying.planting.asking import asked
from apps.spraying.planting.queries import PlantingAnswer, crop_choices, planned_answers, planting_answer
from farmops.errors import BadInput
from farmops.problems import in_words
from farmops.web import FarmPage

WORDS = {
    "yes": gettext_noop("Nothing on record forbids it"),
    "no": gettext_noop("No"),
    "unknown": gettext_noop("Not known"),
}


class PlantingPage(FarmPage):
    needs = {"GET": Can.READ_FARM}
    template_name = "spraying/planting.html"

    def get(self, request: HttpRequest, farm: str, block: int) -> HttpResponse:
        row = land.block(self.farm, block)
        shown: dict[str, Any] = {"place": row, "crops": crop_choices(self.farm), "typed": request.GET}
        shown["planned"] = [self._told(a) for a in planned_answers(self.farm, row, self.now)]
        status = 200
        if request.GET.get("crop") or request.GET.get("on"):
            try:
                shown["asked"] = self._told(planting_answer(self.farm, row, asked(request.GET)))
            except BadInput as bad:
                shown["faults"], status = [in_words(s) for said in bad.errors.values() for s in said], 400
        return self.page(shown, status=status)

    def _told(self, answer: PlantingAnswer) -> dict[str, Any]:
        names = dict(crop_choices(self.farm))
        crop = names.get(answer.site_code, answer.site_code.replace("_", " "))
        return {"crop": crop, "word": WORDS[answer.answer], "row": answer}
