"""The page of the weather: today's sun, the last readings, a new one."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.land import queries as land
from apps.people.rules import Can
from apps.weather import forms, queries, services
from farmops import clock
from farmops.web import FormPage

SHOWN = 20


class Weather(FormPage):
    needs = {"GET": Can.READ_FARM, "POST": Can.SCOUT}
    template_name = "weather/weather.html"
    done = _("The reading is recorded.")

    def context(self) -> dict[str, Any]:
        on_date = queries.today(self.farm, self.now)
        rows = queries.readings(self.farm).order_by("-taken_at", "-id")[:SHOWN]
        judged = [queries.judge(self.farm, row) for row in rows]
        return {"today": on_date, "sun": queries.sun(self.farm, on_date), "judged": judged}

    def form(self, data: Any = None) -> forms.ReadingForm:
        local = clock.to_local(self.now, self.farm.time_zone)
        blocks = [(block.pk, str(block)) for block in land.blocks(self.farm)]
        start = {"taken_at": f"{local:{forms.LOCAL}}"}
        return forms.ReadingForm(data, blocks=blocks, zone=local.tzname() or self.farm.time_zone, initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned["taken_at"] = clock.to_utc(cleaned["taken_at"], self.farm.time_zone, field="taken_at")
        services.record_reading(member=self.member, now=self.now, **cleaned)
        return reverse("weather:weather", args=[self.farm.slug])
