"""Pages of scouting counts and thresholds."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from apps.crops import count_forms, counts, forms, queries, services
from apps.crops.counts import FarmThreshold
from apps.crops.pages import CropForm
from apps.land import queries as land
from apps.land.models import Block
from apps.people.rules import Can
from farmops.errors import BadInput
from farmops.web import FarmPage


class ChooseCount(FarmPage):
    """What is counted: the thresholds of the block's crop first."""

    needs = {"GET": Can.SCOUT}
    template_name = "crops/choose_count.html"

    def get(self, request: HttpRequest, farm: str, block: int) -> HttpResponse:
        row = land.block(self.farm, block)
        today = queries.today(self.farm, self.now)
        site = queries.crop_facts([row], today, today=today)[row.pk]
        offered = [t for t in counts.thresholds(self.farm).values() if t.active]
        return self.page(
            {
                "place": row,
                "crop": site,
                "fitting": [t for t in offered if t.rule.fits(site.site_code)],
                "others": [t for t in offered if not t.rule.fits(site.site_code)],
            }
        )


class MakeCount(CropForm):
    """The walk: one line for each stop, what was looked at and what was found."""

    needs = {"GET": Can.SCOUT, "POST": Can.SCOUT}
    template_name = "crops/count.html"
    title = _("Write down a count")
    button = _("Write it down")
    done = _("Your count is written down.")

    def block(self) -> Block:
        return land.block(self.farm, self.kwargs["block"])

    def threshold(self) -> FarmThreshold:
        return counts.threshold(self.farm, self.kwargs["threshold"])

    def context(self) -> dict[str, Any]:
        return {**super().context(), "about": self.block(), "t": self.threshold().rule}

    def form(self, data: Any = None) -> count_forms.CountForm:
        block, today = self.block(), queries.today(self.farm, self.now)
        rows = queries.plantings(self.farm).filter(block=block)
        standing = [row for row in rows if queries.as_fact(row).lives_on(today)]
        start = {"looked_on": today}
        return count_forms.CountForm(data, initial=start, rule=self.threshold().rule, plantings=standing)

    def act(self, cleaned: dict[str, Any]) -> str:
        try:
            row = services.record_count(
                member=self.member,
                block_id=self.kwargs["block"],
                threshold_code=self.kwargs["threshold"],
                now=self.now,
                **cleaned,
            )
        except BadInput as error:
            raise BadInput(self.form(self.request.POST).place_errors(error.errors)) from None
        return self.to("counted", row.pk)


class CountPage(FarmPage):
    """What a count says, and what to do next."""

    needs = {"GET": Can.READ_FARM}
    template_name = "crops/counted.html"

    def get(self, request: HttpRequest, farm: str, count: int) -> HttpResponse:
        row = counts.count(self.farm, count)
        return self.page({"c": counts.judged(row), "place": row.block})


class WithdrawCount(CropForm):
    needs = {"GET": Can.SCOUT, "POST": Can.SCOUT}
    title = _("Withdraw a count")
    button = _("Withdraw it")
    done = _("The count is withdrawn.")

    def form(self, data: Any = None) -> forms.ReasonForm:
        counts.count(self.farm, self.kwargs["count"])
        return forms.ReasonForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.withdraw_count(member=self.member, count_id=self.kwargs["count"], now=self.now, **cleaned)
        return self.to("block", row.block_id)


class ThresholdList(FarmPage):
    """Every threshold with its source."""

    needs = {"GET": Can.READ_FARM}
    template_name = "crops/thresholds.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"rows": list(counts.thresholds(self.farm).values())})


class AddThreshold(CropForm):
    title = _("Add a threshold")
    button = _("Add the threshold")
    done = _("The threshold is added.")

    def form(self, data: Any = None) -> count_forms.ThresholdForm:
        return count_forms.NewThresholdForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned.pop("version")
        code = cleaned.pop("code")
        services.set_threshold(member=self.member, code=code, expected_version=0, changes=cleaned, now=self.now)
        return self.to("thresholds")


class EditThreshold(CropForm):
    title = _("Change the threshold")
    button = _("Save the threshold")
    done = _("The threshold is changed.")

    def form(self, data: Any = None) -> count_forms.ThresholdForm:
        row = counts.threshold(self.farm, self.kwargs["threshold"])
        start = {
            **counts.as_json(row.rule),
            "crops": ", ".join(row.rule.crops),
            "active": row.active,
            "version": row.version,
        }
        return count_forms.ThresholdForm(data, initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version") or 0
        services.set_threshold(
            member=self.member, code=self.kwargs["threshold"], expected_version=version, changes=cleaned, now=self.now
        )
        return self.to("thresholds")
