"""Spray jobs, the steps they took, and the signed records that remain."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.equipment.models import Sprayer
from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.products.models import LabelVersion, Product
from apps.products.rules import RateBasis
from apps.spraying.rules import PRESETS, house
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.states import COUNTED, JobState, Step
from farmops.errors import Severity
from farmops.units import PRODUCT_UNITS

_PERSON = settings.AUTH_USER_MODEL


def _one_of(field: str, values: type, name: str) -> models.CheckConstraint:
    return models.CheckConstraint(condition=Q(**{f"{field}__in": [v.value for v in values]}), name=name)  # type: ignore[attr-defined]


def _house_number(name: str) -> models.DecimalField:
    """A number the farm may set to the stricter side of the shipped one; null = the shipped one."""
    unit = house.BY_NAME[name].unit
    return models.DecimalField(max_digits=6, decimal_places=1, null=True, help_text=f"{unit}; null: as shipped")


class SpraySettings(FarmOwned):
    """How this farm judges its jobs: the advice it follows, its own stricter numbers, since when its sprays are on
    record, its usual interval."""

    preset = models.CharField(max_length=30, default="labels_only")
    history_known_from = models.DateField(null=True)
    interval_from_days = models.PositiveSmallIntegerField(default=7)
    interval_to_days = models.PositiveSmallIntegerField(default=10)
    own_advice = models.BooleanField(default=False, help_text="The farm follows its own table, copied from the preset")
    calm_wind_mph = _house_number("calm_wind_mph")
    wind_max_mph = _house_number("wind_max_mph")
    season_near_percent = _house_number("season_near_percent")
    gpa_tolerance_percent = _house_number("gpa_tolerance_percent")
    reading_good_minutes = _house_number("reading_good_minutes")
    bee_drift_ft = _house_number("bee_drift_ft")
    hive_notice_ft = _house_number("hive_notice_ft")
    general_use_certificate = models.CharField(max_length=8, blank=True, help_text="Empty: as shipped, a note")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm"], name="spray_settings_once_per_farm"),
            models.CheckConstraint(condition=Q(preset__in=sorted(PRESETS)), name="spray_settings_preset_known"),
            models.CheckConstraint(
                condition=Q(
                    interval_from_days__gte=1,
                    interval_to_days__gte=F("interval_from_days"),
                    interval_to_days__lte=60,
                ),
                name="spray_settings_interval_in_order",
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{limit.name}__gte": limit.least, f"{limit.name}__lte": limit.most}),
                    name=f"spray_settings_{limit.name}_only_stricter",
                )
                for limit in house.LIMITS
            ),
            models.CheckConstraint(
                condition=Q(general_use_certificate__in=["", Severity.JUSTIFY.value, Severity.REFUSE.value]),
                name="spray_settings_certificate_known",
            ),
        ]

    def __str__(self) -> str:
        return f"spray settings of {self.farm}"


class Job(FarmOwned):
    """One spray job: these products on these blocks, by this person, in this window.

    ``expected_…`` is the weather the planner reckons with, from a forecast. ``findings`` is what the check said
    when the job was assigned, ``start_findings`` in the field, ``finish_findings`` about what was really done.
    Readings are what was typed, as text.
    """

    number = models.PositiveIntegerField()
    state = models.CharField(max_length=12, default=JobState.DRAFT)
    targets = models.JSONField(default=list)
    sprayer = models.ForeignKey(Sprayer, on_delete=models.PROTECT, related_name="+")
    applicator = models.ForeignKey(_PERSON, on_delete=models.PROTECT, null=True, related_name="+")
    supervisor = models.ForeignKey(_PERSON, on_delete=models.PROTECT, null=True, related_name="+")
    window_starts_at = models.DateTimeField()
    window_ends_at = models.DateTimeField()
    spray_gpa = models.DecimalField(max_digits=8, decimal_places=3)
    water_ph = models.DecimalField(max_digits=4, decimal_places=2, null=True)
    surfactant = models.BooleanField(default=False)
    expected_wind_mph = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    expected_high_f = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    expected_dry_hours = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    notes = models.TextField(blank=True)
    created_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField(blank=True, help_text="Why it was assigned although the check asked for a reason")
    findings = models.JSONField(default=list)
    start_findings = models.JSONField(default=list)
    finish_findings = models.JSONField(default=list)
    start_readings = models.JSONField(default=dict)
    end_readings = models.JSONField(default=dict)
    started_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True, help_text="When the finish was reported")
    disputed = models.BooleanField(default=False)
    loads = models.DecimalField(max_digits=7, decimal_places=2, null=True)
    sprayed_gal = models.DecimalField(max_digits=9, decimal_places=2, null=True, help_text="Gallons really sprayed")
    deviation_reason = models.TextField(blank=True)
    doubt = models.BooleanField(default=False, help_text="Called off after its window began: it may have been sprayed")
    not_applied_at = models.DateTimeField(null=True, help_text="When the applicator signed that nothing was applied")
    signed_before = models.JSONField(
        null=True, help_text="Open again: what the last signature said, which still counts"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm", "number"], name="job_number_once_per_farm"),
            _one_of("state", JobState, "job_state_known"),
            models.CheckConstraint(condition=Q(window_ends_at__gt=F("window_starts_at")), name="job_window_in_order"),
            models.CheckConstraint(condition=Q(spray_gpa__gt=0), name="job_spray_gpa_positive"),
            models.CheckConstraint(
                condition=Q(sprayed_gal=None) | Q(sprayed_gal__gt=0), name="job_sprayed_gal_positive"
            ),
            models.CheckConstraint(
                condition=Q(water_ph=None) | Q(water_ph__gte=0, water_ph__lte=14), name="job_water_ph_real"
            ),
            models.CheckConstraint(
                condition=(Q(expected_wind_mph=None) | Q(expected_wind_mph__gte=0))
                & (Q(expected_dry_hours=None) | Q(expected_dry_hours__gte=0)),
                name="job_expected_weather_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(state__in=[JobState.DRAFT, JobState.CALLED_OFF]) | Q(applicator__isnull=False),
                name="job_has_an_applicator",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=sorted(COUNTED)) | Q(started_at__isnull=False), name="job_sprayed_has_a_start"
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[JobState.SPRAYED, JobState.SIGNED]) | Q(ended_at__isnull=False),
                name="job_sprayed_has_an_end",
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(started_at=None) | Q(ended_at__gt=F("started_at")),
                name="job_ends_after_start",
            ),
            models.CheckConstraint(
                condition=Q(not_applied_at=None) | Q(state=JobState.CALLED_OFF, doubt=False),
                name="job_not_applied_is_called_off",
            ),
            models.CheckConstraint(
                condition=Q(doubt=False) | Q(state=JobState.CALLED_OFF), name="job_in_doubt_is_called_off"
            ),
        ]
        indexes = [models.Index(fields=["farm", "state", "window_starts_at"], name="job_by_state")]

    def __str__(self) -> str:
        return f"job {self.number}"


class JobBlock(FarmOwned):
    """One block of a job: what was planned there and what was done.

    ``site_code`` and ``crop_name`` are what stood there when it was last judged (empty = nothing on record).
    ``zone`` names the part of the block whose history counts (empty = the whole block). ``part`` is the
    sprayed part as GeoJSON if it was not all of it; ``part_note`` its words when nobody drew it. ``outline`` is the
    block as it was when it was sprayed, kept when its outline is moved afterwards (null = it lies as it did).
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="job_blocks")
    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    zone = models.CharField(max_length=30, blank=True)
    site_code = models.CharField(max_length=40, blank=True)
    crop_name = models.CharField(max_length=200, blank=True)
    planned_acres = models.DecimalField(max_digits=10, decimal_places=4)
    treated_acres = models.DecimalField(max_digits=10, decimal_places=4, null=True)
    part = models.JSONField(null=True)
    part_note = models.CharField(max_length=200, blank=True)
    outline = models.JSONField(null=True)

    class Meta:
        indexes = [models.Index(fields=["farm"], condition=Q(outline__isnull=False), name="job_block_moved_ground")]
        constraints = [
            models.UniqueConstraint(fields=["job", "block"], name="job_block_once"),
            models.CheckConstraint(condition=Q(planned_acres__gt=0), name="job_block_planned_positive"),
            models.CheckConstraint(
                condition=Q(treated_acres=None) | Q(treated_acres__gte=0), name="job_block_treated_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.block} in {self.job}"


class JobProduct(FarmOwned):
    """One product of the mix, the label version it is judged by, and what was really used."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="job_products")
    position = models.PositiveSmallIntegerField()
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    label_version = models.ForeignKey(LabelVersion, on_delete=models.PROTECT, null=True, related_name="+")
    rate_amount = models.DecimalField(max_digits=12, decimal_places=4)
    rate_unit = models.CharField(max_length=10)
    rate_basis = models.CharField(max_length=12, default=RateBasis.PER_ACRE)
    actual_amount = models.DecimalField(max_digits=14, decimal_places=4, null=True)
    actual_unit = models.CharField(max_length=10, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["job", "product"], name="job_product_once"),
            models.UniqueConstraint(fields=["job", "position"], name="job_product_position_once"),
            models.CheckConstraint(condition=Q(rate_amount__gt=0), name="job_product_rate_positive"),
            models.CheckConstraint(
                condition=Q(rate_unit__in=[*PRODUCT_UNITS, "%vv"]), name="job_product_rate_unit_known"
            ),
            _one_of("rate_basis", RateBasis, "job_product_rate_basis_known"),
            models.CheckConstraint(
                condition=Q(actual_amount=None, actual_unit="")
                | Q(actual_amount__gte=0, actual_unit__in=list(PRODUCT_UNITS)),
                name="job_product_actual_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} in {self.job}"


class JobStep(FarmOwned):
    """One step a job took. Only grows."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="steps")
    step = models.CharField(max_length=12)
    from_state = models.CharField(max_length=12, blank=True)
    to_state = models.CharField(max_length=12)
    at = models.DateTimeField()
    happened_at = models.DateTimeField(null=True)
    by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True)
    details = models.JSONField(default=dict)

    class Meta:
        constraints = [
            _one_of("step", Step, "job_step_known"),
            _one_of("to_state", JobState, "job_step_to_state_known"),
        ]

    def __str__(self) -> str:
        return f"{self.step} of {self.job}"


class SprayRecord(FarmOwned):
    """A signed record: its canonical text and its place in the farm's chain. Only grows.

    A correction is a new record with the next ``edition`` that points back by ``supersedes``.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="records")
    seq = models.PositiveIntegerField()
    edition = models.PositiveSmallIntegerField(default=1)
    supersedes = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="newer")
    prev_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)
    body_text = models.TextField()
    meaning = models.CharField(max_length=12)
    signed_by = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm", "seq"], name="record_seq_once_per_farm"),
            models.UniqueConstraint(fields=["farm", "prev_hash"], name="record_chain_never_forks"),
            models.UniqueConstraint(fields=["job", "edition"], name="record_edition_once_per_job"),
            _one_of("meaning", Meaning, "record_meaning_known"),
        ]

    def __str__(self) -> str:
        return f"record {self.seq}"


from apps.spraying.amending.models import CorrectionRequest  # noqa: E402  needs the jobs above
from apps.spraying.bringing.models import BroughtFile, BroughtSpray  # noqa: E402
from apps.spraying.display.models import Display  # noqa: E402
from apps.spraying.mix.models import MixTick  # noqa: E402
from apps.spraying.policies.models import AdviceRule  # noqa: E402
from apps.spraying.programs.models import (  # noqa: E402
    Program,
    ProgramBlock,
    ProgramDecision,
    ProgramPass,
    ProgramProduct,
)
from apps.spraying.records.models import FarmRecordRule, RecordNote  # noqa: E402

__all__ = [
    "AdviceRule",
    "BroughtFile",
    "BroughtSpray",
    "CorrectionRequest",
    "Display",
    "FarmRecordRule",
    "Job",
    "JobBlock",
    "JobProduct",
    "JobStep",
    "MixTick",
    "Program",
    "ProgramBlock",
    "ProgramDecision",
    "ProgramPass",
    "ProgramProduct",
    "RecordNote",
    "SprayRecord",
    "SpraySettings",
]
