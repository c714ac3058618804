"""Forms of spraying. Every form works without scripts; what is typed goes to the services as it is."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.products.rules import RateBasis
from apps.spraying.inputs import EXPECTED
from apps.spraying.models import Job
from apps.spraying.rules.enclosed import INSIDE_NAMES, Inside
from apps.weather.rules.readings import COMPASS
from apps.work.forms import FarmTimeField
from farmops.units import PRODUCT_UNITS, dimension_of, unit_name

LINES = (1, 2, 3, 4)
BASIS_NAMES = {
    RateBasis.PER_ACRE: _("per acre"),
    RateBasis.PER_100_GAL: _("per 100 gallons of spray"),
    RateBasis.PERCENT_VV: _("% of the spray volume"),
}
PRESET_NAMES = {
    "labels_only": _("Labels only"),
    "extension": _("Labels and published resistance advice"),
    "all_published": _("Labels and all published advice, other countries' too"),
    "once_a_season": _("Each resistance group once a season"),
}
USUAL = (
    "floz",
    "pt",
    "qt",
    "gal",
    "oz",
    "lb",
    *(u for u in PRODUCT_UNITS if u not in {"floz", "pt", "qt", "gal", "oz", "lb"}),
)
Choices = Sequence[tuple[Any, Any]]


def _number(**options: Any) -> forms.CharField:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.CharField(max_length=30, widget=widget, **options)


def _text(rows: int = 3, **options: Any) -> forms.CharField:
    return forms.CharField(widget=forms.Textarea(attrs={"rows": rows}), max_length=2000, **options)


def _units(units: Iterable[str]) -> Choices:
    return [(unit, unit_name(unit)) for unit in units]


class JobForm(forms.Form):
    """Blocks, mix, window and people of one job; up to four products."""

    blocks = forms.TypedMultipleChoiceField(label=_("Blocks"), coerce=int, widget=forms.CheckboxSelectMultiple)
    targets = forms.CharField(
        label=_("Against what"),
        required=False,
        help_text=_("Pests or diseases, with commas between: powdery mildew, squash bug"),
    )
    window_starts_at = FarmTimeField(label=_("Window begins"))
    window_ends_at = FarmTimeField(label=_("Window ends"))
    sprayer_id = forms.TypedChoiceField(label=_("Sprayer"), coerce=int)
    spray_gpa = _number(
        label=_("Spray volume, gallons per acre"), required=False, help_text=_("Empty = as the sprayer was calibrated")
    )
    applicator_id = forms.TypedChoiceField(label=_("Applicator"), coerce=int, empty_value=None, required=False)
    supervisor_id = forms.TypedChoiceField(
        label=_("Supervised by"),
        coerce=int,
        empty_value=None,
        required=False,
        help_text=_("Only if somebody supervises"),
    )
    water_ph = _number(label=_("pH of the spray water"), required=False)
    surfactant = forms.BooleanField(label=_("A surfactant goes into the tank"), required=False)
    expected_wind_mph = _number(label=_("Wind expected, mph"), required=False, help_text=_("From the forecast"))
    expected_high_f = _number(label=_("Highest temperature expected, °F"), required=False)
    expected_dry_hours = _number(label=_("Hours without rain expected after the spray"), required=False)
    notes = _text(label=_("Notes for the applicator"), required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(
        self, *args: Any, blocks: Choices, products: Choices, sprayers: Choices, people: Choices, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["blocks"].choices = blocks  # type: ignore[attr-defined]
        self.fields["sprayer_id"].choices = [("", "—"), *sprayers]  # type: ignore[attr-defined]
        for name in ("applicator_id", "supervisor_id"):
            self.fields[name].choices = [("", "—"), *people]  # type: ignore[attr-defined]
        for n in LINES:
            self._line(n, products)
        order = [
            "blocks",
            "targets",
            *(f"{part}_{n}" for n in LINES for part in ("product", "amount", "unit", "basis")),
        ]
        self.order_fields(order)

    def _line(self, n: int, products: Choices) -> None:
        needed = n == 1
        self.fields[f"product_{n}"] = forms.TypedChoiceField(
            label=_("Product %(n)s") % {"n": n},
            coerce=int,
            empty_value=None,
            required=needed,
            choices=[("", "—"), *products],
        )
        self.fields[f"amount_{n}"] = _number(label=_("Rate of product %(n)s") % {"n": n}, required=False)
        self.fields[f"unit_{n}"] = forms.ChoiceField(
            label=_("Unit of product %(n)s") % {"n": n}, required=False, choices=[("", "—"), *_units([*USUAL, "%vv"])]
        )
        self.fields[f"basis_{n}"] = forms.ChoiceField(
            label=_("Rate of product %(n)s is") % {"n": n},
            required=False,
            choices=[(b.value, BASIS_NAMES[b]) for b in RateBasis],
        )

    @property
    def lines(self) -> list[list[forms.BoundField]]:
        """The product lines, each as its fields."""
        return [[self[f"{part}_{n}"] for part in ("product", "amount", "unit", "basis")] for n in LINES]

    @property
    def rest(self) -> list[forms.BoundField]:
        """What comes after the product lines."""
        shown = {"blocks", "targets", *(field.name for line in self.lines for field in line)}
        return [field for field in self if field.name not in shown]

    def plan(self) -> dict[str, Any]:
        """What was typed, as ``plan_job`` takes it (times still farm-local)."""
        typed = dict(self.cleaned_data)
        plain = (
            "sprayer_id",
            "applicator_id",
            "supervisor_id",
            "spray_gpa",
            "water_ph",
            "surfactant",
            *EXPECTED,
            "notes",
        )
        return {
            **{name: typed[name] for name in plain},
            "window_starts_at": typed["window_starts_at"],
            "window_ends_at": typed["window_ends_at"],
            "targets": [t for t in typed["targets"].split(",") if t.strip()],
            "blocks": [{"block_id": block_id} for block_id in typed["blocks"]],
            "products": [
                {
                    "product_id": typed[f"product_{n}"],
                    "rate_amount": typed[f"amount_{n}"],
                    "rate_unit": typed[f"unit_{n}"],
                    "rate_basis": typed[f"basis_{n}"],
                }
                for n in LINES
                if typed[f"product_{n}"] is not None
            ],
        }


class VersionForm(forms.Form):
    version = forms.IntegerField(widget=forms.HiddenInput)


class AssignForm(VersionForm):
    reason = _text(
        label=_("Reason"),
        required=False,
        help_text=_("Why the job may go ahead all the same"),
        error_messages={"required": _("Write down why this job may go ahead all the same.")},
    )


class CallOffForm(VersionForm):
    reason = _text(label=_("Why the job is called off"))


class ReadingsForm(forms.Form):
    wind_mph = _number(label=_("Wind, mph"))
    wind_from = forms.ChoiceField(
        label=_("Wind from"), required=False, choices=[("", "—"), *((w, w.upper()) for w in COMPASS)]
    )
    gust_mph = _number(label=_("Gusts, mph"), required=False)
    temperature_f = _number(label=_("Temperature, °F"))
    humidity_percent = _number(label=_("Humidity, %"))


class StartForm(VersionForm, ReadingsForm):
    inside_buildings = forms.ChoiceField(
        label=_("Who is in closed buildings in the zone?"),
        required=False,
        choices=[("", "—"), *((i.value, _(INSIDE_NAMES[i])) for i in Inside)],
        help_text=_("Needed when a house or school on the map lies in the zone"),
    )
    reason = _text(label=_("Reason"), required=False, help_text=_("Only when the answer asks for one"))


class DoneForm(VersionForm):
    """What was done: times, each block, each product. Outcomes start empty."""

    started_at = FarmTimeField(label=_("Started"))
    ended_at = FarmTimeField(label=_("Finished"))
    loads = _number(label=_("Loads"))
    sprayed_gal = _number(
        label=_("Gallons sprayed in all"),
        required=False,
        help_text=_("What was filled in less what is left. With the acres it gives the rate that was put on."),
    )

    def __init__(self, *args: Any, job: Job, twice: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.job = job
        if twice:
            self._ask_which_hour()
        for row in job.job_blocks.all():
            self._block(row)
        for line in job.job_products.all():
            self._product(line)
        for name, label in (
            ("wind_mph", _("Wind at the end, mph")),
            ("temperature_f", _("Temperature at the end, °F")),
        ):
            self.fields[f"end_{name}"] = _number(label=label, required=False)
        self.fields["deviation_reason"] = _text(
            label=_("Why the rate differs from the plan"),
            required=False,
            help_text=_("Only if it is more than 5 % off"),
        )

    def _block(self, row: Any) -> None:
        acres = f"{row.planned_acres.normalize():f}"
        self.fields[f"area_{row.block_id}"] = forms.ChoiceField(
            label=_("How much of %(block)s was treated?") % {"block": row.block},
            widget=forms.RadioSelect,
            choices=[
                ("all", _("All %(acres)s acres") % {"acres": acres}),
                ("part", _("A part")),
                ("none", _("Nothing")),
            ],
        )
        self.fields[f"acres_{row.block_id}"] = _number(
            label=_("Acres treated in %(block)s") % {"block": row.block}, required=False, help_text=_("Only for a part")
        )
        self.fields[f"part_{row.block_id}"] = forms.CharField(
            label=_("Which part of %(block)s") % {"block": row.block}, required=False, max_length=200
        )

    def _product(self, line: Any) -> None:
        unit = line.rate_unit if line.rate_unit in PRODUCT_UNITS else "gal"
        alike = [u for u in PRODUCT_UNITS if dimension_of(u) is dimension_of(unit)]
        self.fields[f"amount_{line.product_id}"] = _number(
            label=_("%(product)s used in all") % {"product": line.product}
        )
        self.fields[f"unit_{line.product_id}"] = forms.ChoiceField(
            label=_("Unit of %(product)s") % {"product": line.product}, choices=_units(alike), initial=unit
        )

    def _ask_which_hour(self) -> None:
        """On days when the clocks went back, one hour has come twice."""
        for name, label in (
            ("started_at", _("If that hour came twice: start")),
            ("ended_at", _("If that hour came twice: end")),
        ):
            self.fields[f"{name}_fold"] = forms.ChoiceField(
                label=label,
                required=False,
                choices=[("", "—"), ("0", _("the first time")), ("1", _("the second time"))],
            )

    def which(self, name: str) -> int | None:
        """Which of two equal hours a typed time means; ``None`` if nobody said."""
        typed = self.cleaned_data.get(f"{name}_fold", "")
        return int(typed) if typed else None

    def done(self) -> dict[str, Any]:
        """What was typed, as ``finish_spraying`` takes it (times still farm-local)."""
        typed = self.cleaned_data
        return {
            "started_at": typed["started_at"],
            "ended_at": typed["ended_at"],
            "loads": typed["loads"],
            "sprayed_gal": typed["sprayed_gal"],
            "blocks": [self._treated(row) for row in self.job.job_blocks.all()],
            "products": [
                {
                    "product_id": line.product_id,
                    "amount": typed[f"amount_{line.product_id}"],
                    "unit": typed[f"unit_{line.product_id}"],
                }
                for line in self.job.job_products.all()
            ],
            "wind_mph": typed["end_wind_mph"],
            "temperature_f": typed["end_temperature_f"],
            "deviation_reason": typed["deviation_reason"],
        }

    def _treated(self, row: Any) -> dict[str, Any]:
        typed = self.cleaned_data
        by_choice = {"all": row.planned_acres, "none": 0, "part": typed[f"acres_{row.block_id}"]}
        return {
            "block_id": row.block_id,
            "treated_acres": by_choice[typed[f"area_{row.block_id}"]],
            "part_note": typed[f"part_{row.block_id}"],
        }


class LateForm(DoneForm):
    """The same, with the readings at the start and why it is reported only now."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields |= dict(ReadingsForm().fields)
        self.fields["reason"] = _text(label=_("Why it is reported only now"))
        self.order_fields(["reason", "started_at", "ended_at", *ReadingsForm.base_fields])


class SignForm(VersionForm):
    body_hash = forms.CharField(widget=forms.HiddenInput, max_length=64)
    checked = forms.BooleanField(label=_("I checked the field, the times, the area and the amounts."), required=False)
    password = forms.CharField(
        label=_("Your password"), widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}), strip=False
    )


class NotAppliedForm(SignForm):
    reason = _text(label=_("Why nothing was applied"))
    field_order = ["reason", "checked", "password"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["checked"].label = _("I checked that nothing was applied on these blocks under this job.")


class HeadForm(forms.Form):
    """An earlier chain head: the file as it was kept, or the hash and the number of records from a letter."""

    text = forms.CharField(
        label=_("The file that was kept"), required=False, widget=forms.Textarea(attrs={"rows": 4}), max_length=20000
    )
    records = forms.IntegerField(
        label=_("Or the number of records then"),
        required=False,
        min_value=0,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    head = forms.CharField(label=_("and the head then"), required=False, max_length=64)

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if not found.get("text") and (found.get("records") is None or not found.get("head")):
            raise forms.ValidationError(_("Paste the file, or enter both the number of records and the head."))
        return found

    def kept(self) -> dict[str, Any]:
        """The head as JSON; what cannot be read stays a head that is none."""
        typed = self.cleaned_data
        if not typed["text"]:
            return {"records": typed["records"], "head": typed["head"]}
        try:
            read = json.loads(typed["text"])
        except ValueError:
            return {}
        read = read["heads"][0] if isinstance(read, dict) and read.get("heads") else read
        return read if isinstance(read, dict) else {}
