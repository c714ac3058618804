"""Shapes of jobs and records going out."""

from __future__ import annotations

import json
from typing import Any

from django.utils.translation import get_language, gettext
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apps.products.rules import RateBasis
from apps.spraying.models import Job
from apps.spraying.policies.queries import limits_shown
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.signing import Sentence, Standing, read_back
from apps.spraying.rules.states import JobState, Step
from farmops import wording
from farmops.errors import Severity
from farmops.problems import finding_json

STATES = [(s.value, s.name) for s in JobState]
MEANINGS = [(m.value, m.name) for m in Meaning]
ANYTHING = {"type": "object", "additionalProperties": True}


def said(sentence: Sentence) -> str:
    """A sentence in the reader's language."""
    return wording.fill(gettext(sentence.template), sentence.numbers, get_language())


@extend_schema_field(ANYTHING)
class AnyObject(serializers.Field):
    """A JSON object as it is stored."""

    def to_representation(self, value: Any) -> Any:
        return value


class JobFindingOut(serializers.Serializer):
    """One thing the check says, in the reader's language."""

    code = serializers.CharField()
    severity = serializers.ChoiceField(choices=[(s.value, s.name) for s in Severity])
    sentence = serializers.CharField()
    template = serializers.CharField()
    numbers = serializers.DictField(child=serializers.CharField())
    source = serializers.CharField()
    field = serializers.CharField()
    subject = serializers.CharField()

    def to_representation(self, instance: Any) -> dict[str, Any]:
        if isinstance(instance, dict):
            words = wording.fill(gettext(instance["template"]), instance["numbers"], get_language())
            return {**instance, "sentence": words}
        return finding_json(instance)


class JobBlockFindingsOut(serializers.Serializer):
    block_id = serializers.IntegerField()
    block = serializers.CharField()
    findings = JobFindingOut(many=True)


class CheckOut(serializers.Serializer):
    """What the check says now. ``refused`` stops the job, ``needs_reason`` asks for a written reason."""

    refused = serializers.BooleanField()
    needs_reason = serializers.BooleanField()
    job_findings = JobFindingOut(many=True, help_text="About the job as a whole")
    blocks = JobBlockFindingsOut(many=True)


class JobBlockOut(serializers.Serializer):
    block_id = serializers.IntegerField()
    block = serializers.CharField(source="block.__str__", help_text="Code and name")
    zone = serializers.CharField()
    site_code = serializers.CharField(help_text="Empty = nothing on record when it was last judged")
    crop = serializers.CharField(source="crop_name")
    planned_acres = serializers.DecimalField(max_digits=10, decimal_places=4)
    treated_acres = serializers.DecimalField(max_digits=10, decimal_places=4, allow_null=True)
    part = AnyObject(allow_null=True)
    part_note = serializers.CharField()


class JobProductOut(serializers.Serializer):
    product_id = serializers.IntegerField()
    product = serializers.CharField(source="product.name")
    label_version = serializers.IntegerField(source="label_version.number", allow_null=True, default=None)
    rate_amount = serializers.DecimalField(max_digits=12, decimal_places=4)
    rate_unit = serializers.CharField()
    rate_basis = serializers.ChoiceField(choices=[(b.value, b.name) for b in RateBasis])
    actual_amount = serializers.DecimalField(max_digits=14, decimal_places=4, allow_null=True)
    actual_unit = serializers.CharField()


class JobOut(serializers.Serializer):
    id = serializers.IntegerField()
    number = serializers.IntegerField()
    state = serializers.ChoiceField(choices=STATES)
    targets = serializers.ListField(child=serializers.CharField())
    sprayer_id = serializers.IntegerField()
    sprayer = serializers.CharField(source="sprayer.name")
    applicator_id = serializers.IntegerField(allow_null=True)
    applicator = serializers.CharField(source="applicator.full_name", allow_null=True, default=None)
    supervisor_id = serializers.IntegerField(allow_null=True)
    supervisor = serializers.CharField(source="supervisor.full_name", allow_null=True, default=None)
    window_starts_at = serializers.DateTimeField()
    window_ends_at = serializers.DateTimeField()
    spray_gpa = serializers.DecimalField(max_digits=8, decimal_places=3)
    water_ph = serializers.DecimalField(max_digits=4, decimal_places=2, allow_null=True)
    surfactant = serializers.BooleanField()
    expected_wind_mph = serializers.DecimalField(max_digits=4, decimal_places=1, allow_null=True)
    expected_high_f = serializers.DecimalField(max_digits=4, decimal_places=1, allow_null=True)
    expected_dry_hours = serializers.DecimalField(max_digits=4, decimal_places=1, allow_null=True)
    notes = serializers.CharField()
    reason = serializers.CharField()
    blocks = JobBlockOut(source="job_blocks", many=True)
    products = JobProductOut(source="job_products", many=True)
    started_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    finished_at = serializers.DateTimeField(allow_null=True)
    loads = serializers.DecimalField(max_digits=7, decimal_places=2, allow_null=True)
    sprayed_gal = serializers.DecimalField(max_digits=9, decimal_places=2, allow_null=True)
    start_readings = AnyObject()
    end_readings = AnyObject()
    deviation_reason = serializers.CharField()
    disputed = serializers.BooleanField(help_text="People gave different end times; the latest counts")
    doubt = serializers.BooleanField(help_text="Called off after its window began: it may have been sprayed")
    not_applied_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()


class JobDetail(JobOut):
    """A job with what the check said when it was assigned (or, for a draft, last changed), at the start and after."""

    findings = JobBlockFindingsOut(many=True)
    start_findings = JobBlockFindingsOut(many=True)
    finish_findings = JobBlockFindingsOut(many=True)
    open_steps = serializers.ListField(child=serializers.ChoiceField(choices=[(s.value, s.name) for s in Step]))


class JobStepOut(serializers.Serializer):
    step = serializers.ChoiceField(choices=[(s.value, s.name) for s in Step])
    from_state = serializers.CharField(help_text="Empty for the first")
    to_state = serializers.ChoiceField(choices=STATES)
    at = serializers.DateTimeField()
    happened_at = serializers.DateTimeField(allow_null=True)
    by_id = serializers.IntegerField()
    by = serializers.CharField(source="by.full_name")
    note = serializers.CharField()
    details = AnyObject()


class MixProductOut(serializers.Serializer):
    product_id = serializers.IntegerField()
    product = serializers.CharField()
    per_full_load = serializers.CharField()
    last_load = serializers.CharField()
    total = serializers.CharField()


class MixOut(serializers.Serializer):
    """How the job is mixed: loads, gallons, product in each. Amounts are cut, never rounded up."""

    acres = serializers.DecimalField(max_digits=12, decimal_places=4)
    spray_gpa = serializers.DecimalField(max_digits=8, decimal_places=3)
    loads = serializers.IntegerField()
    full_load_gal = serializers.CharField()
    last_load_gal = serializers.CharField()
    total_gal = serializers.CharField()
    products = MixProductOut(many=True)


class ZoneBlockOut(serializers.Serializer):
    block_id = serializers.IntegerField(source="pk")
    block = serializers.CharField(source="__str__")


class AroundOut(serializers.Serializer):
    """Who keeps away while the job is sprayed. 0 ft: this rule sets no zone; drift and contact stay forbidden."""

    zone_ft = serializers.DecimalField(source="zone.distance_ft", max_digits=8, decimal_places=1)
    because = JobFindingOut(source="zone.because")
    blocks = ZoneBlockOut(many=True, help_text="Other blocks of the farm that lie in the zone")


class ReadBackOut(serializers.Serializer):
    """What would be signed. Send ``body_hash`` with the signature."""

    meaning = serializers.ChoiceField(choices=MEANINGS)
    standing = serializers.ChoiceField(choices=[(s.value, s.name) for s in Standing])
    sentences = serializers.ListField(child=serializers.CharField())
    consequences = serializers.ListField(child=serializers.CharField())
    statement = serializers.CharField()
    findings = JobFindingOut(many=True)
    body_hash = serializers.CharField()
    version = serializers.IntegerField()


class RecordRow(serializers.Serializer):
    seq = serializers.IntegerField()
    edition = serializers.IntegerField()
    job_id = serializers.IntegerField()
    job_number = serializers.IntegerField(source="job.number")
    meaning = serializers.ChoiceField(choices=MEANINGS)
    signed_by_id = serializers.IntegerField()
    signed_by = serializers.CharField(source="signed_by.full_name")
    signed_at = serializers.DateTimeField()
    prev_hash = serializers.CharField()
    hash = serializers.CharField()


class RecordOut(RecordRow):
    """A signed record: its exact text, the same text read, and in sentences."""

    body_text = serializers.CharField()
    body = serializers.SerializerMethodField()
    sentences = serializers.SerializerMethodField()
    consequences = serializers.SerializerMethodField()

    @extend_schema_field(ANYTHING)
    def get_body(self, row: Any) -> Any:
        return json.loads(row.body_text)

    @extend_schema_field(serializers.ListField(child=serializers.CharField()))
    def get_sentences(self, row: Any) -> list[str]:
        return [said(s) for s in read_back(json.loads(row.body_text)["content"], to_signer=False).sentences]

    @extend_schema_field(serializers.ListField(child=serializers.CharField()))
    def get_consequences(self, row: Any) -> list[str]:
        return [said(s) for s in read_back(json.loads(row.body_text)["content"]).consequences]


class FaultOut(serializers.Serializer):
    code = serializers.CharField()
    where = serializers.CharField()
    said = serializers.CharField()


class ChainOut(serializers.Serializer):
    """The state of the farm's chain. Keep ``head`` elsewhere: a rewritten book cannot bring it back."""

    records = serializers.IntegerField()
    head = serializers.CharField(allow_null=True)
    fault = FaultOut(allow_null=True)


class HeadOut(serializers.Serializer):
    """Keep it elsewhere. ``grown``: table -> last id and number of rows; such tables can never have fewer later."""

    farm = serializers.CharField()
    records = serializers.IntegerField()
    head = serializers.CharField()
    at = serializers.CharField()
    grown = serializers.DictField(child=serializers.ListField(child=serializers.IntegerField()))


class AgainstOut(serializers.Serializer):
    """What an earlier head says: ``fault`` is null when the book has only grown since."""

    fault = FaultOut(allow_null=True)


class HouseLimitOut(serializers.Serializer):
    """A number the farm may set to the stricter side: ``value`` holds, ``shipped`` does without the farm's own."""

    name = serializers.CharField()
    value = serializers.CharField()
    shipped = serializers.CharField()
    unit = serializers.CharField()
    least = serializers.CharField()
    most = serializers.CharField()
    source = serializers.CharField()
    own = serializers.BooleanField()


class SpraySettingsOut(serializers.Serializer):
    preset = serializers.CharField()
    history_known_from = serializers.DateField(allow_null=True)
    interval_from_days = serializers.IntegerField()
    interval_to_days = serializers.IntegerField()
    limits = serializers.SerializerMethodField(help_text="Numbers of the house; they only ever ask earlier")
    general_use_certificate = serializers.SerializerMethodField()
    version = serializers.IntegerField()

    @extend_schema_field(HouseLimitOut(many=True))
    def get_limits(self, row: Any) -> list[dict[str, Any]]:
        return HouseLimitOut(limits_shown(row), many=True).data

    def get_general_use_certificate(self, row: Any) -> str:
        return row.general_use_certificate or Severity.NOTE.value


def job_detail(row: Job, steps: tuple[Step, ...]) -> Job:
    """The row with the steps this reader may take, for ``JobDetail``."""
    row.open_steps = [s.value for s in steps]  # type: ignore[attr-defined]
    return row
