"""Sprayers and what was measured on them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from apps.equipment.rules import DropletClass, Method, Verdict
from apps.equipment.rules.calibration import LIFE_DAYS
from apps.equipment.rules.measuring import CATCH_UNITS
from apps.people.models import FarmOwned

METHODS = [m.value for m in Method]
DROPLET_CLASSES = ["", *(c.value for c in DropletClass)]
VERDICTS = [v.value for v in Verdict]


class Sprayer(FarmOwned):
    """One machine. ``swath_ft`` is the width sprayed in one pass, from one side if the boom is one-sided."""

    name = models.CharField(max_length=80)
    method = models.CharField(max_length=20)
    tank_gal = models.DecimalField(max_digits=8, decimal_places=2)
    usable_gal = models.DecimalField(max_digits=8, decimal_places=2)
    swath_ft = models.DecimalField(max_digits=6, decimal_places=2)
    nozzles = models.PositiveSmallIntegerField()
    spacing_in = models.DecimalField(max_digits=5, decimal_places=2, null=True)
    nozzle_name = models.CharField(max_length=80, blank=True)
    nozzle_new_gpm = models.DecimalField(max_digits=7, decimal_places=4, null=True)
    nozzle_new_psi = models.DecimalField(max_digits=6, decimal_places=2, null=True)
    droplet_class = models.CharField(max_length=20, blank=True)
    release_height_in = models.DecimalField(max_digits=6, decimal_places=2, null=True)
    pump_gpm = models.DecimalField(max_digits=7, decimal_places=2, null=True)
    life_days = models.PositiveSmallIntegerField(default=LIFE_DAYS)
    note = models.CharField(max_length=300, blank=True)
    retired_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint("farm", Lower("name"), name="sprayer_name_once_per_farm"),
            models.CheckConstraint(condition=Q(method__in=METHODS), name="sprayer_method_known"),
            models.CheckConstraint(condition=Q(droplet_class__in=DROPLET_CLASSES), name="sprayer_droplet_class_known"),
            models.CheckConstraint(
                condition=Q(usable_gal__gt=0, usable_gal__lte=F("tank_gal")), name="sprayer_usable_within_tank"
            ),
            models.CheckConstraint(condition=Q(swath_ft__gt=0), name="sprayer_swath_positive"),
            models.CheckConstraint(condition=Q(nozzles__gte=1, nozzles__lte=200), name="sprayer_nozzles_sane"),
            models.CheckConstraint(condition=Q(spacing_in=None) | Q(spacing_in__gt=0), name="sprayer_spacing_positive"),
            models.CheckConstraint(
                condition=Q(nozzle_new_gpm=None, nozzle_new_psi=None)
                | Q(
                    nozzle_new_gpm__isnull=False,
                    nozzle_new_psi__isnull=False,
                    nozzle_new_gpm__gt=0,
                    nozzle_new_psi__gt=0,
                ),
                name="sprayer_new_nozzle_flow_with_pressure",
            ),
            models.CheckConstraint(
                condition=Q(release_height_in=None) | Q(release_height_in__gte=0), name="sprayer_height_not_negative"
            ),
            models.CheckConstraint(condition=Q(pump_gpm=None) | Q(pump_gpm__gt=0), name="sprayer_pump_positive"),
            models.CheckConstraint(condition=Q(life_days__gte=1, life_days__lte=730), name="sprayer_life_sane"),
        ]

    def __str__(self) -> str:
        return self.name


class Calibration(FarmOwned):
    """One measured calibration, with everything it was reckoned from. Only ``void_*`` may be set afterwards."""

    sprayer = models.ForeignKey(Sprayer, on_delete=models.PROTECT, related_name="calibrations")
    measured_on = models.DateField()
    good_until = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    catches = models.JSONField(help_text="One decimal text per nozzle, from left to right")
    catch_unit = models.CharField(max_length=4)
    seconds = models.DecimalField(max_digits=7, decimal_places=2)
    course_ft = models.DecimalField(max_digits=8, decimal_places=2)
    run_seconds = models.JSONField(help_text="One decimal text per run over the course")
    pressure_psi = models.DecimalField(max_digits=6, decimal_places=2, help_text="At the far nozzle")
    gauge_psi = models.DecimalField(max_digits=6, decimal_places=2, null=True, help_text="On the machine's own gauge")
    wanted_gpa = models.DecimalField(max_digits=8, decimal_places=3, null=True)
    swath_ft = models.DecimalField(max_digits=6, decimal_places=2)
    new_nozzle_gpm = models.DecimalField(max_digits=12, decimal_places=6, null=True, help_text="At this pressure")
    gear = models.CharField(max_length=60, blank=True)
    ground = models.CharField(max_length=60, blank=True)
    liquid = models.CharField(max_length=60)
    note = models.CharField(max_length=300, blank=True)

    gpa = models.DecimalField(max_digits=12, decimal_places=6)
    speed_mph = models.DecimalField(max_digits=10, decimal_places=6)
    total_gpm = models.DecimalField(max_digits=12, decimal_places=6)
    verdict = models.CharField(max_length=10)
    findings = models.JSONField(default=list)
    reason = models.CharField(max_length=300, blank=True)

    void_on = models.DateField(null=True)
    void_because = models.CharField(max_length=200, blank=True)
    voided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(verdict__in=VERDICTS), name="calibration_verdict_known"),
            models.CheckConstraint(condition=Q(catch_unit__in=CATCH_UNITS), name="calibration_catch_unit_known"),
            models.CheckConstraint(
                condition=Q(gpa__gt=0, speed_mph__gt=0, pressure_psi__gt=0, seconds__gt=0, course_ft__gt=0),
                name="calibration_readings_positive",
            ),
            models.CheckConstraint(
                condition=Q(good_until__gte=F("measured_on")), name="calibration_good_after_measured"
            ),
            models.CheckConstraint(
                condition=Q(void_on=None, void_because="", voided_by=None)
                | (Q(void_on__isnull=False, voided_by__isnull=False) & ~Q(void_because="")),
                name="calibration_void_says_why_and_who",
            ),
        ]
        indexes = [models.Index(fields=["sprayer", "-measured_on", "-id"], name="calibration_newest")]

    def __str__(self) -> str:
        return f"calibration of {self.sprayer} on {self.measured_on}"
