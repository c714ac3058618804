"""Forms of the label library. Numbers stay as typed: the label's own reader judges them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.products.rules import (
    BeeClass,
    ContentBasis,
    IntervalScope,
    Kind,
    Method,
    MixingStage,
    RateBasis,
    Scheme,
    YearBasis,
)
from apps.products.wording import named
from farmops.problems import in_words
from farmops.units import PRODUCT_UNITS, unit_name


class ProductForm(forms.Form):
    name = forms.CharField(label=_("Product name"), max_length=120)
    kind = forms.ChoiceField(label=_("Kind"))
    registration_number = forms.CharField(label=_("Registration number"), max_length=60, required=False)
    is_demo = forms.BooleanField(label=_("Invented product for trying things out (demo, not advice)"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [(k.value, named(k)) for k in Kind]  # type: ignore[attr-defined]


class ProductEditForm(ProductForm):
    is_demo = None  # type: ignore[assignment]
    retired = forms.BooleanField(label=_("Retired: no longer offered for new jobs"), required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)


class CheckForm(forms.Form):
    checked_against = forms.CharField(
        label=_("Which paper you compared it with"),
        help_text=_("For example: paper label dated 3 Mar 2026, from the jug in the shed"),
        max_length=300,
    )
    body_hash = forms.CharField(widget=forms.HiddenInput)


class WithdrawForm(forms.Form):
    reason = forms.CharField(label=_("Why it is withdrawn"), max_length=300)


# ---- the label document ------------------------------------------------------------------


def _number(label: Any, **options: Any) -> forms.CharField:
    return forms.CharField(
        label=label, required=False, widget=forms.TextInput(attrs={"inputmode": "decimal"}), **options
    )


def _code(label: Any, **options: Any) -> forms.CharField:
    box = forms.TextInput(attrs={"autocapitalize": "none", "spellcheck": "false"})
    return forms.CharField(label=label, required=False, widget=box, **options)


def _long(label: Any, **options: Any) -> forms.CharField:
    return forms.CharField(label=label, required=False, widget=forms.Textarea(attrs={"rows": 3}), **options)


def _choice(label: Any, kinds: Any, **options: Any) -> forms.ChoiceField:
    choices = [("", _("not stated")), *((str(k), named(k)) for k in kinds)]
    return forms.ChoiceField(label=label, required=False, choices=choices, **options)


def _unit(label: Any, *more: str) -> forms.ChoiceField:
    choices = [("", _("not stated")), *((u, unit_name(u)) for u in (*PRODUCT_UNITS, *more))]
    return forms.ChoiceField(label=label, required=False, choices=choices)


class YesNoField(forms.TypedChoiceField):
    """Yes, no or not stated: three different things on a label."""

    def __init__(self, **options: Any) -> None:
        choices = [("", _("not stated")), ("yes", _("yes")), ("no", _("no"))]
        options |= {"choices": choices, "required": False, "widget": forms.RadioSelect}
        super().__init__(coerce=lambda said: said == "yes", empty_value=None, **options)

    def prepare_value(self, value: Any) -> Any:
        return {True: "yes", False: "no", None: ""}.get(value, value)


class MethodsField(forms.MultipleChoiceField):
    def __init__(self) -> None:
        super().__init__(
            label=_("Ways it may be put out (none ticked = any)"),
            required=False,
            choices=[(m.value, named(m)) for m in Method],
            widget=forms.CheckboxSelectMultiple,
        )


class WordsField(forms.CharField):
    """A list: one entry a line, or separated by commas."""

    def __init__(self, *, separator: str = "\n", **options: Any) -> None:
        box = forms.Textarea(attrs={"rows": 3}) if separator == "\n" else forms.TextInput()
        super().__init__(required=False, widget=box, **options)
        self.separator = separator

    def to_python(self, value: Any) -> Any:
        return [part.strip() for part in (value or "").split(self.separator) if part.strip()]

    def prepare_value(self, value: Any) -> Any:
        joint = self.separator if self.separator == "\n" else f"{self.separator} "
        return value if isinstance(value, str) or value is None else joint.join(value)


class LinesField(forms.CharField):
    """One entry a line, its parts separated by semicolons, in the order of ``columns``."""

    def __init__(self, *columns: str, **options: Any) -> None:
        super().__init__(required=False, widget=forms.Textarea(attrs={"rows": 3}), **options)
        self.columns = columns

    def _parts(self, value: Any) -> list[list[str]]:
        lines = [line for line in (value or "").splitlines() if line.strip()]
        rows = [[part.strip() for part in line.split(";")] for line in lines]
        for place, row in enumerate(rows, start=1):
            if len(row) > len(self.columns):
                said = gettext("Line %(line)s: give at most %(count)s parts, separated by semicolons.")
                raise ValidationError(said % {"line": place, "count": len(self.columns)})
        return rows

    def to_python(self, value: Any) -> Any:
        return [{k: part for k, part in zip(self.columns, row, strict=False) if part} for row in self._parts(value)]

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, str) or value is None:
            return value
        return "\n".join(self._line(row) for row in value)

    def _line(self, row: Mapping[str, Any]) -> str:
        parts = ["" if row.get(c) is None else str(row[c]) for c in self.columns]
        return "; ".join(parts).rstrip("; ")


class PairsField(LinesField):
    """Lines of ``key; value`` -> one object."""

    def to_python(self, value: Any) -> Any:
        rows = self._parts(value)
        for place, row in enumerate(rows, start=1):
            if len(row) != 2 or row[0] in [earlier[0] for earlier in rows[: place - 1]]:
                said = gettext("Line %(line)s: give two parts with a semicolon between, each name once.")
                raise ValidationError(said % {"line": place})
        return {row[0]: row[1] for row in rows}

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(f"{k}; {v}" for k, v in value.items()) if isinstance(value, Mapping) else value


def _where(rest: Sequence[str]) -> str:
    """``("1", "pounds")`` -> "Line 2, pounds: " so that the sentence names the line that was typed."""
    if not rest:
        return ""
    line = gettext("Line %s") % (int(rest[0]) + 1) if rest[0].isdigit() else f"“{rest[0]}”"
    return ", ".join([line, *rest[1:]]) + ": "


class DocumentForm(forms.Form):
    """A form whose values are fields of the label document, or of one row of it."""

    def values(self) -> dict[str, Any]:
        """What was filled in; blank means the label does not say."""
        said = {k: v for k, v in self.cleaned_data.items() if k != "DELETE"}
        return {k: v for k, v in said.items() if v is False or v not in (None, "", [], {})}

    def put(self, path: Sequence[str], said: str) -> None:
        """Show a fault of the document at the field it is about."""
        name, rest = path[0] if path else "", path[1:]
        if name in self.fields:
            self.add_error(name, _where(rest) + in_words(said))
        else:
            self.add_error(None, ": ".join(filter(None, [".".join(path), in_words(said)])))


class IngredientForm(DocumentForm):
    name = forms.CharField(label=_("Active ingredient, ISO common name"), required=False)
    amount = _number(_("Content"), help_text=_("lb per gallon, or the share: 40 % is 0.40"))
    basis = _choice(_("Stated as"), ContentBasis)


class GroupForm(DocumentForm):
    scheme = _choice(_("Scheme"), Scheme)
    code = _code(_("Group code"), help_text=_("Such as M05, 3A or 9"))


class UseForm(DocumentForm):
    site_code = _code(_("Crop or site"), help_text=_("Such as winter_squash"))
    targets = WordsField(separator=",", label=_("Pests it is for"), help_text=_("Codes with commas between"))
    rate_min = _number(_("Lowest rate"))
    rate_max = _number(_("Highest rate"))
    rate_unit = _unit(_("Unit of the rate"), "%vv")
    rate_basis = _choice(_("Rate is per"), RateBasis)
    phi_days = _number(_("Days before harvest"))
    phi_tiers = LinesField(
        "up_to_rate", "days", label=_("Days before harvest by rate"), help_text=_("A line each: highest rate; days")
    )
    rei_hours = _number(_("Restricted entry on this crop, hours"))
    activity_rei = LinesField(
        "activity",
        "hours",
        label=_("Restricted entry by kind of work on this crop"),
        help_text=_("A line each: kind of work; hours"),
    )
    min_interval_days = _number(_("Shortest interval, days"))
    interval_scope = _choice(_("Interval counts from"), IntervalScope)
    max_uses = _number(_("Most uses in a season"))
    season_max_product = _number(_("Most product in a season, per acre"))
    season_max_unit = _unit(_("Unit of the season amount"))
    season_basis = _choice(_("The label's season is"), YearBasis)
    stage_from = _code(_("Not before crop stage"), help_text=_("Such as emergence, v6 or z37"))
    stage_before = _code(_("Only before crop stage"), help_text=_("Such as first_female_flower"))
    crop_height_max_in = _number(_("Crop at most this high, inches"))
    methods = MethodsField()
    min_spray_gpa = _number(_("Least spray volume on this crop, gallons per acre"))
    conditions = _long(_("Other conditions, in the label's words"))


class LabelForm(DocumentForm):
    """The label's own fields; ingredients, groups and uses stand in tables of their own."""

    restricted_use = YesNoField(label=_("Restricted use product"))
    formulation_code = _code(_("Formulation code"), help_text=_("Two letters, such as SC, EC, WG"))
    signal_word = forms.CharField(label=_("Signal word, as printed"), required=False)
    density_lb_per_gal = _number(_("Density, lb per gallon"))
    contains_oil = YesNoField(label=_("Contains oil"))
    mixing_stage = _choice(_("Where the label puts it when the tank is filled"), MixingStage)
    rei_hours = _number(_("Restricted entry for all uses, hours"))
    activity_rei = LinesField(
        "activity",
        "hours",
        label=_("Restricted entry by kind of work"),
        help_text=_("A line each: kind of work; hours"),
    )
    condition_release = _long(_("Entry only after, in the label's words"))
    double_notification = forms.BooleanField(label=_("Tell workers and post a sign, both"), required=False)
    ppe_mixing = WordsField(label=_("Protective gear for mixing and loading"), help_text=_("One piece a line"))
    ppe_applying = WordsField(label=_("Protective gear for applying"), help_text=_("One piece a line"))
    ppe_early_entry = WordsField(label=_("Protective gear for early entry"), help_text=_("One piece a line"))
    bee_class = _choice(_("Bees"), BeeClass)
    bee_statement = _long(_("Bee statement, in the label's words"))
    methods = MethodsField()
    min_spray_gpa = _number(_("Least spray volume, gallons per acre"))
    recommended_gpa = _number(_("Recommended spray volume, gallons per acre"))
    wind_min_mph = _number(_("Lowest wind, mph"))
    wind_max_mph = _number(_("Highest wind, mph"))
    buffer_ft = _number(_("Distance to water, feet"))
    temperature_max_f = _number(_("Highest temperature, °F"))
    temperature_caution_f = _number(_("Injury likely above, °F"))
    solution_ph_min = _number(_("Lowest pH of the spray solution"))
    surfactant_caution = forms.BooleanField(label=_("The label warns of adding a surfactant"), required=False)
    rain_free_hours = _number(_("Hours without rain needed"))
    mix_cautions = WordsField(
        separator=",", label=_("Ingredients not to mix with"), help_text=_("ISO common names with commas between")
    )
    caps = LinesField(
        "ingredient",
        "pounds",
        "per",
        "year_basis",
        "site_code",
        label=_("Most of an ingredient per acre, from all products"),
        help_text=_(
            "A line each: ingredient; pounds; pass, year or crop; calendar, twelve_months, crop or unknown; "
            "crop if only there. Example: chlorothalonil; 15.75; year; calendar"
        ),
    )
    group_run_limits = LinesField(
        "scheme",
        "code",
        "max_in_a_row",
        label=_("Most sprays of one group in a row"),
        help_text=_("A line each: scheme; group; count. Example: frac; 13; 2"),
    )
    separations = LinesField(
        "ingredient", "days", label=_("Days to keep from an ingredient"), help_text=_("A line each: ingredient; days")
    )
    plantback = LinesField(
        "site_code",
        "months",
        label=_("Months before planting"),
        help_text=_("A line each: crop; months. A star is every crop not listed. Example: *; 16"),
    )
    cover_crop_any_time = forms.BooleanField(label=_("A cover crop may follow at any time"), required=False)
    preplant_days = PairsField(
        "site_code",
        "days",
        label=_("Days between spraying and planting"),
        help_text=_("A line each: crop; days. Example: winter_squash; 3"),
    )
    supervised_use_allowed = YesNoField(label=_("May be used under supervision"))
    training_topic = _code(_("Training the label asks for"))
    training_months = _number(_("Training is good for, months"))
    sections = PairsField(
        "field", "place", label=_("Where it stands on the paper"), help_text=_("A line each: field; place")
    )

    def values(self) -> dict[str, Any]:
        found = super().values()
        gear = {task: found.pop(f"ppe_{task}") for task in PPE_TASKS if f"ppe_{task}" in found}
        return {**found, "ppe": gear} if gear else found

    def put(self, path: Sequence[str], said: str) -> None:
        joined = path[:1] == ["ppe"] and len(path) > 1
        super().put([f"ppe_{path[1]}", *path[2:]] if joined else path, said)


PPE_TASKS = ("mixing", "applying", "early_entry")


class AboutForm(forms.Form):
    effective_on = forms.DateField(
        label=_("Label in effect from"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
