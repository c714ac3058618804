"""Shapes of the label library in and out.

The nested shapes of the label document describe it in the interface description; the document
itself is read by ``products.rules.read_label``, which knows more and refuses unknown fields.
"""

from __future__ import annotations

from enum import Enum
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.products.rules import (
    FORMULATION_CODES,
    BeeClass,
    CapPer,
    ContentBasis,
    IntervalScope,
    Kind,
    Method,
    MixingStage,
    RateBasis,
    Scheme,
    YearBasis,
)
from farmops.units import PRODUCT_UNITS

CODE = r"^[a-z][a-z0-9_]{0,63}$"
SITE = r"^([a-z][a-z0-9_]{0,63}|\*)$"


def _amount(**options: Any) -> serializers.DecimalField:
    """A decimal number, written as text or as a number."""
    return serializers.DecimalField(max_digits=None, decimal_places=None, **options)


def _optional(**options: Any) -> serializers.DecimalField:
    return _amount(required=False, allow_null=True, **options)


def _whole(**options: Any) -> serializers.IntegerField:
    return serializers.IntegerField(required=False, allow_null=True, **options)


def _one_of(kinds: Any, **options: Any) -> serializers.ChoiceField:
    """One of an enum (named by its class in the interface description) or of plain codes."""
    pairs = [(k.value, k.name) if isinstance(k, Enum) else (k, k) for k in kinds]
    return serializers.ChoiceField(choices=pairs, **options)


def _words(**options: Any) -> serializers.ListField:
    return serializers.ListField(child=serializers.CharField(), required=False, **options)


def _text(**options: Any) -> serializers.CharField:
    return serializers.CharField(required=False, allow_blank=True, **options)


def _code(pattern: str = CODE, **options: Any) -> serializers.RegexField:
    return serializers.RegexField(pattern, **options)


class IngredientShape(serializers.Serializer):
    name = serializers.CharField(help_text="ISO common name")
    amount = _amount(help_text="lb per gallon, or the share by mass (0.40 = 40 %)")
    basis = _one_of(ContentBasis)


class GroupShape(serializers.Serializer):
    scheme = _one_of(Scheme)
    code = serializers.CharField(help_text="As the scheme prints it: M05, 3A, 15. Old codes are turned into new ones.")


class CapShape(serializers.Serializer):
    ingredient = serializers.CharField()
    pounds = _amount(help_text="lb of the ingredient per acre, from all products")
    per = _one_of(CapPer)
    year_basis = _one_of(YearBasis, required=False, allow_null=True)
    site_code = _code(required=False, allow_null=True)


class RunLimitShape(GroupShape):
    max_in_a_row = serializers.IntegerField(min_value=1, max_value=50)


class SeparationShape(serializers.Serializer):
    ingredient = serializers.CharField()
    days = serializers.IntegerField(min_value=0, max_value=365)


class PlantBackShape(serializers.Serializer):
    site_code = _code(SITE, help_text="* = every crop not listed")
    months = serializers.IntegerField(min_value=0, max_value=120)


class PpeShape(serializers.Serializer):
    mixing = _words()
    applying = _words()
    early_entry = _words()


class PhiTierShape(serializers.Serializer):
    up_to_rate = _amount(help_text="in the use's rate unit, inclusive")
    days = serializers.IntegerField(min_value=0, max_value=730)


class ActivityReiShape(serializers.Serializer):
    activity = _code()
    hours = _amount(min_value=0, max_value=8760)


class UseShape(serializers.Serializer):
    site_code = _code(help_text="crop or site, such as winter_squash; fallow_cover = a cover crop without cash crop")
    targets = serializers.ListField(child=_code(), required=False)
    rate_min = _optional(min_value=0)
    rate_max = _amount(help_text="per treated acre unless rate_basis says otherwise")
    rate_unit = _one_of((*PRODUCT_UNITS, "%vv"), help_text="fluid ounce is floz, weight ounce is oz")
    rate_basis = _one_of(RateBasis)
    phi_days = _whole(min_value=0, max_value=730, help_text="null = not known, which is never zero")
    phi_tiers = PhiTierShape(many=True, required=False)
    rei_hours = _optional(min_value=0, max_value=8760)
    activity_rei = ActivityReiShape(many=True, required=False)
    min_interval_days = _whole(min_value=0, max_value=730)
    interval_scope = _one_of(IntervalScope, required=False, allow_null=True)
    max_uses = _whole(min_value=1, max_value=100)
    season_max_product = _optional(max_value=100000)
    season_max_unit = _one_of(PRODUCT_UNITS, required=False, allow_null=True)
    season_basis = _one_of(YearBasis, required=False, allow_null=True)
    stage_from = _code(required=False, allow_null=True, help_text="growth stage, such as emergence, v6 or z37")
    stage_before = _code(required=False, allow_null=True, help_text="growth stage, such as first_female_flower")
    crop_height_max_in = _optional(max_value=200)
    methods = serializers.ListField(child=_one_of(Method), required=False, help_text="empty = any")
    min_spray_gpa = _optional(max_value=2000)
    conditions = _text()


class LabelDocument(serializers.Serializer):
    """A label, read off the paper. Left out or null = the label does not say, which is never zero or "no"."""

    kind = _one_of(Kind)
    restricted_use = serializers.BooleanField()
    ingredients = IngredientShape(many=True, required=False)
    groups = GroupShape(many=True, required=False)
    uses = UseShape(many=True)
    formulation_code = _one_of(sorted(FORMULATION_CODES), required=False, allow_null=True)
    signal_word = _text(max_length=60)
    ppe = PpeShape(required=False)
    caps = CapShape(many=True, required=False)
    group_run_limits = RunLimitShape(many=True, required=False)
    separations = SeparationShape(many=True, required=False)
    plantback = PlantBackShape(many=True, required=False)
    cover_crop_any_time = serializers.BooleanField(required=False)
    preplant_days = serializers.DictField(
        child=serializers.IntegerField(min_value=0, max_value=365),
        required=False,
        help_text="site -> days before planting it; * = every crop not listed",
    )
    bee_class = _one_of(BeeClass, required=False, allow_null=True)
    bee_statement = _text()
    methods = serializers.ListField(child=_one_of(Method), required=False, help_text="empty = any")
    min_spray_gpa = _optional(max_value=2000)
    recommended_gpa = _optional(max_value=2000)
    wind_max_mph = _optional(max_value=60)
    wind_min_mph = _optional(min_value=0, max_value=60)
    buffer_ft = _optional(min_value=0, max_value=10000)
    temperature_max_f = _optional(min_value=-40, max_value=150)
    temperature_caution_f = _optional(min_value=-40, max_value=150)
    solution_ph_min = _optional(min_value=0, max_value=14)
    surfactant_caution = serializers.BooleanField(required=False)
    rain_free_hours = _optional(min_value=0, max_value=240)
    mix_cautions = _words(help_text="ingredients the label warns of in one tank")
    supervised_use_allowed = serializers.BooleanField(required=False, allow_null=True)
    training_topic = _code(required=False, allow_null=True)
    training_months = _whole(min_value=1, max_value=120)
    double_notification = serializers.BooleanField(required=False)
    condition_release = _text()
    density_lb_per_gal = _optional(max_value=30)
    contains_oil = serializers.BooleanField(required=False, allow_null=True)
    mixing_stage = _one_of(MixingStage, required=False, allow_null=True)
    rei_hours = _optional(min_value=0, max_value=8760)
    activity_rei = ActivityReiShape(many=True, required=False)
    sections = serializers.DictField(
        child=serializers.CharField(allow_blank=True, max_length=200),
        required=False,
        help_text="field -> where it stands",
    )


@extend_schema_field(LabelDocument)
class DocumentField(serializers.JSONField):
    """Passed on as it is; the service reads it."""


class LabelOut(serializers.Serializer):
    id = serializers.IntegerField()
    product_id = serializers.IntegerField()
    product_name = serializers.CharField(source="product.name")
    is_demo = serializers.BooleanField(source="product.is_demo", help_text="Demo label, not advice")
    number = serializers.IntegerField()
    effective_on = serializers.DateField()
    note = serializers.CharField()
    body = DocumentField()
    body_hash = serializers.CharField(help_text="SHA-256 of the document; send it with the check")
    transcribed_by = serializers.CharField(source="transcribed_by.full_name")
    transcribed_at = serializers.DateTimeField()
    checked_by = serializers.CharField(source="checked_by.full_name", allow_null=True, default=None)
    checked_at = serializers.DateTimeField(allow_null=True)
    checked_against = serializers.CharField(allow_blank=True)
    same_person = serializers.BooleanField(help_text="Transcribed and checked by the same person")
    withdrawn_by = serializers.CharField(source="withdrawn_by.full_name", allow_null=True, default=None)
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_reason = serializers.CharField(allow_blank=True)
    version = serializers.IntegerField()


class LabelIn(serializers.Serializer):
    effective_on = serializers.DateField()
    body = DocumentField()
    note = serializers.CharField(required=False, allow_blank=True, max_length=300, default="")


class DraftEdit(serializers.Serializer):
    effective_on = serializers.DateField()
    body = DocumentField()
    note = serializers.CharField(allow_blank=True, max_length=300)


class CheckIn(serializers.Serializer):
    body_hash = serializers.CharField(max_length=64, help_text="of the text you compared with the paper")
    checked_against = serializers.CharField(max_length=300, help_text="such as: paper label dated 3 Mar 2026")


class WithdrawIn(serializers.Serializer):
    reason = serializers.CharField(max_length=300)


class ProductOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    registration_number = serializers.CharField(allow_blank=True)
    kind = _one_of(Kind)
    is_demo = serializers.BooleanField(help_text="Invented product: demo label, not advice")
    retired_at = serializers.DateTimeField(allow_null=True)
    label_in_force_id = serializers.IntegerField(allow_null=True, help_text="today; null = nothing to go by")
    drafts = serializers.IntegerField()
    version = serializers.IntegerField()


class ProductIn(serializers.Serializer):
    name = serializers.CharField(max_length=120)
    kind = _one_of(Kind)
    registration_number = serializers.CharField(required=False, allow_blank=True, max_length=60, default="")
    is_demo = serializers.BooleanField(required=False, default=False)


class ProductEdit(serializers.Serializer):
    name = serializers.CharField(max_length=120)
    kind = _one_of(Kind)
    registration_number = serializers.CharField(allow_blank=True, max_length=60)
    retired = serializers.BooleanField()
