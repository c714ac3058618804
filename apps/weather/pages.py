"""The pages of the weather: today's sun, the last readings, a new one; rain and its gauge."""

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


class Rain(FormPage):
    """What the gauges caught, and a form for the next look at one."""

    needs = {"GET": Can.READ_FARM, "POST": Can.SCOUT}
    template_name = "weather/rain.html"
    done = _("The rain is recorded.")

    def context(self) -> dict[str, Any]:
        return {"rows": queries.rainfall(self.farm)[:SHOWN]}

    def form(self, data: Any = None) -> forms.RainForm:
        local = clock.to_local(self.now, self.farm.time_zone)
        blocks = [(block.pk, str(block)) for block in land.blocks(self.farm)]
        start = {"until_at": f"{local:{forms.LOCAL}}"}
        last = queries.rainfall(self.farm).filter(block=None).first()
        if last is not None:
            start["from_at"] = f"{clock.to_local(last.until_at, self.farm.time_zone):{forms.LOCAL}}"
        return forms.RainForm(data, blocks=blocks, zone=local.tzname() or self.farm.time_zone, initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        for name in ("from_at", "until_at"):
            cleaned[name] = clock.to_utc(cleaned[name], self.farm.time_zone, field=name)
        services.record_rainfall(member=self.member, now=self.now, **cleaned)
        return reverse("weather:rain", args=[self.farm.slug])


class WithdrawRain(FormPage):
    needs = {"GET": Can.SCOUT, "POST": Can.SCOUT}
    template_name = "weather/withdraw_rain.html"
    done = _("The reading is withdrawn.")

    def context(self) -> dict[str, Any]:
        return {"row": queries.one_rainfall(self.farm, self.kwargs["rainfall"])}

    def form(self, data: Any = None) -> forms.RainReasonForm:
        queries.one_rainfall(self.farm, self.kwargs["rainfall"])
        return forms.RainReasonForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.withdraw_rainfall(member=self.member, rainfall_id=self.kwargs["rainfall"], now=self.now, **cleaned)
        return reverse("weather:rain", args=[self.farm.slug])
