"""Pages of sprayers: the list, one sprayer, and the guided calibration in the yard."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.equipment import forms, queries, services
from apps.equipment.api import CONDITIONS, readings
from apps.equipment.models import Sprayer
from apps.people.rules import Can
from farmops.errors import BadInput
from farmops.web import FarmPage, FormPage, put_errors

EDIT = {"GET": Can.EDIT_SPRAYERS, "POST": Can.EDIT_SPRAYERS}


class SprayerPage(FarmPage):
    """Shared by the pages about one sprayer."""

    def sprayer(self) -> Sprayer:
        return queries.sprayer(self.farm, self.kwargs["sprayer"])

    def standing(self) -> queries.Standing:
        return queries.standing(self.sprayer(), queries.today(self.farm, self.now))

    def address(self, name: str, *args: Any) -> str:
        return reverse(f"equipment:{name}", args=[self.farm.slug, *args])


class Sprayers(SprayerPage):
    """Every sprayer, its calibration and how old it is."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "equipment/sprayers.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        on_date = queries.today(self.farm, self.now)
        return self.page({"standings": queries.standings(self.farm, on_date), "today": on_date})


class OneSprayer(SprayerPage):
    needs = {"GET": Can.READ_JOBS}
    template_name = "equipment/sprayer.html"

    def get(self, request: HttpRequest, farm: str, sprayer: int) -> HttpResponse:
        standing = self.standing()
        droplets = standing.facts.droplet_class
        return self.page(
            {
                "standing": standing,
                "sprayer": standing.sprayer,
                "zone": queries.zone_of(standing.facts),
                "method_name": forms.METHOD_NAMES[standing.facts.method],
                "droplet_name": forms.DROPLET_NAMES[droplets] if droplets else "",
                "calibrations": queries.calibrations_of(standing.sprayer)[:20],
            }
        )


class SprayerFormPage(SprayerPage, FormPage):
    """A page with one form about a sprayer."""

    needs = EDIT
    template_name = "equipment/form.html"
    title: Any = ""
    button: Any = _("Save")

    def context(self) -> dict[str, Any]:
        known = {"sprayer": self.sprayer()} if "sprayer" in self.kwargs else {}
        return {"title": self.title, "button": self.button, **known}


class AddSprayer(SprayerFormPage):
    title = _("Add a sprayer")
    button = _("Add the sprayer")
    done = _("The sprayer is added. Calibrate it next.")

    def form(self, data: Any = None) -> forms.SprayerForm:
        return forms.SprayerForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned.pop("version")
        row = services.add_sprayer(member=self.member, now=self.now, **cleaned)
        return self.address("sprayer", row.pk)


class EditSprayer(SprayerFormPage):
    title = _("Change a sprayer")
    button = _("Save the sprayer")
    done = _("The sprayer is changed.")

    def form(self, data: Any = None) -> forms.SprayerForm:
        row = self.sprayer()
        return forms.SprayerForm(data, initial={n: getattr(row, n) for n in forms.SprayerForm.base_fields})

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version") or 0
        row = services.edit_sprayer(
            member=self.member,
            sprayer_id=self.kwargs["sprayer"],
            expected_version=version,
            changes=cleaned,
            now=self.now,
        )
        return self.address("sprayer", row.pk)


class ChangeNozzles(SprayerFormPage):
    title = _("Nozzles were changed")
    button = _("Record the change")
    done = _("Recorded. The calibration is void: calibrate before the next job.")

    def form(self, data: Any = None) -> forms.NozzlesForm:
        start = {"changed_on": queries.today(self.farm, self.now), "version": self.sprayer().version}
        return forms.NozzlesForm(data, initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.change_nozzles(
            member=self.member,
            sprayer_id=self.kwargs["sprayer"],
            expected_version=cleaned.pop("version"),
            now=self.now,
            **cleaned,
        )
        return self.address("sprayer", self.kwargs["sprayer"])


class RetireSprayer(SprayerFormPage):
    title = _("Take out of use")
    done = _("Saved.")

    def form(self, data: Any = None) -> forms.RetireForm:
        row = self.sprayer()
        return forms.RetireForm(data, initial={"retired": row.retired_at is not None, "version": row.version})

    def act(self, cleaned: dict[str, Any]) -> str:
        services.retire_sprayer(
            member=self.member,
            sprayer_id=self.kwargs["sprayer"],
            expected_version=cleaned.pop("version"),
            now=self.now,
            **cleaned,
        )
        return self.address("sprayer", self.kwargs["sprayer"])


class Calibrate(SprayerFormPage):
    """Cup after cup; *Work it out* shows the result, *Record* keeps it."""

    template_name = "equipment/calibrate.html"
    title = _("Calibrate")
    done = _("The calibration is recorded.")

    def form(self, data: Any = None) -> forms.CalibrationForm:
        start = {"measured_on": queries.today(self.farm, self.now)}
        return forms.CalibrationForm(data, nozzles=self.sprayer().nozzles, initial=start)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return self.work_out(request) if "work_out" in request.POST else super().post(request, *args, **kwargs)

    def work_out(self, request: HttpRequest) -> HttpResponse:
        """Show what the cups say without recording it."""
        form = self.form(request.POST)
        if not form.is_valid():
            return self.page({"form": form, **self.context()}, status=400)
        try:
            result = services.preview_calibration(
                member=self.member, sprayer_id=self.kwargs["sprayer"], readings=readings(dict(form.asked()))
            )
        except BadInput as error:
            put_errors(form, error)
            return self.page({"form": form, **self.context()}, status=400)
        return self.page({"form": form, "result": result, **self.context()})

    def act(self, cleaned: dict[str, Any]) -> str:
        form = self.form(self.request.POST)
        form.is_valid()
        asked = dict(form.asked())
        row = services.record_calibration(
            member=self.member,
            sprayer_id=self.kwargs["sprayer"],
            measured_on=asked["measured_on"],
            readings=readings(asked),
            conditions={name: asked[name] for name in CONDITIONS},
            reason=asked["reason"],
            now=self.now,
        )
        return self.address("calibration", row.pk)


class OneCalibration(SprayerPage):
    """What was measured, cup by cup, and whether it counts today."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "equipment/calibration.html"

    def get(self, request: HttpRequest, farm: str, calibration: int) -> HttpResponse:
        row = queries.calibration(self.farm, calibration)
        facts = queries.sprayer_facts(row.sprayer, queries.today(self.farm, self.now))
        counts = facts.calibration is not None and facts.calibration.id == row.pk
        context = {"calibration": row, "sprayer": row.sprayer, "test": queries.catch_test_of(row), "counts": counts}
        return self.page({**context, "findings": [f for f in row.findings if not f["subject"]], "why": facts.why})


class VoidCalibration(SprayerFormPage):
    title = _("Strike a calibration")
    button = _("It does not count")
    done = _("Struck. Calibrate before the next job.")

    def context(self) -> dict[str, Any]:
        row = queries.calibration(self.farm, self.kwargs["calibration"])
        return {**super().context(), "calibration": row, "sprayer": row.sprayer}

    def form(self, data: Any = None) -> forms.VoidForm:
        return forms.VoidForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.void_calibration(
            member=self.member, calibration_id=self.kwargs["calibration"], now=self.now, **cleaned
        )
        return self.address("sprayer", row.sprayer_id)
