"""Crops, varieties, plantings on blocks, what happened to them, and what scouts saw."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from apps.crops.rules import EventKind, Family, Measure, Purpose, Seen, StartedAs, Surety, Unit, Verdict
from apps.crops.rules.plantings import REPEATED
from apps.land.models import Block
from apps.people.models import FarmOwned, Person

NAME_LENGTH = 80
NOTE_LENGTH = 400
SEEN = [s.value for s in Seen]


class Crop(FarmOwned):
    """A crop or cover crop of this farm; ``code`` is the site word that labels and rules use."""

    code = models.CharField(max_length=40)
    name = models.CharField(max_length=NAME_LENGTH)
    family = models.CharField(max_length=20)
    days_to_first_flower = models.PositiveSmallIntegerField(
        null=True, help_text="Earliest days from sowing seed to the first open flower; empty = not stated"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm", "code"], name="crops_crop_code_once_per_farm"),
            models.CheckConstraint(condition=Q(family__in=[f.value for f in Family]), name="crops_crop_family_known"),
            models.CheckConstraint(
                condition=Q(days_to_first_flower=None) | Q(days_to_first_flower__gte=1, days_to_first_flower__lte=400),
                name="crops_crop_days_to_first_flower_sane",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Variety(FarmOwned):
    """A variety of a crop."""

    crop = models.ForeignKey(Crop, on_delete=models.PROTECT, related_name="varieties")
    name = models.CharField(max_length=NAME_LENGTH)

    class Meta:
        constraints = [models.UniqueConstraint("farm", "crop", Lower("name"), name="crops_variety_once_per_crop")]

    def __str__(self) -> str:
        return self.name


class Planting(FarmOwned):
    """One crop on one block from sowing to its end. Dates are farm-local.

    ``sown_on`` and ``terminated_on`` repeat what the standing events say (kept by the services), so
    that lists can be filtered; every decision reads the events.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="plantings")
    crop = models.ForeignKey(Crop, on_delete=models.PROTECT, related_name="plantings")
    variety = models.ForeignKey(Variety, on_delete=models.PROTECT, null=True, related_name="plantings")
    purpose = models.CharField(max_length=8)
    started_as = models.CharField(max_length=12, default=StartedAs.SEED.value)
    planned_on = models.DateField()
    first_flower_on = models.DateField(null=True)
    terminate_planned_on = models.DateField(null=True)
    harvest_from = models.DateField(null=True)
    harvest_to = models.DateField(null=True)
    sown_on = models.DateField(null=True)
    terminated_on = models.DateField(null=True)
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)
    called_off_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(purpose__in=[p.value for p in Purpose]), name="crops_planting_purpose_known"
            ),
            models.CheckConstraint(
                condition=Q(started_as__in=[s.value for s in StartedAs]), name="crops_planting_start_known"
            ),
            models.CheckConstraint(
                condition=Q(harvest_from=None) | Q(harvest_to=None) | Q(harvest_to__gte=F("harvest_from")),
                name="crops_planting_harvest_in_order",
            ),
            models.CheckConstraint(
                condition=~Q(purpose=Purpose.COVER.value) | Q(harvest_from=None, harvest_to=None),
                name="crops_planting_cover_not_harvested",
            ),
        ]
        indexes = [models.Index(fields=["farm", "block", "planned_on"], name="crops_planting_by_block")]

    def __str__(self) -> str:
        return f"{self.crop} on {self.block}"


class PlantingEvent(FarmOwned):
    """Something that happened to a planting on a day. A wrong entry is withdrawn, never changed."""

    planting = models.ForeignKey(Planting, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=16)
    on = models.DateField()
    note = models.CharField(max_length=NOTE_LENGTH, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[k.value for k in EventKind]), name="crops_event_kind_known"),
            models.UniqueConstraint(
                fields=["planting", "kind"],
                condition=Q(withdrawn_at=None) & ~Q(kind__in=sorted(k.value for k in REPEATED)),
                name="crops_event_once_per_planting",
            ),
        ]
        indexes = [models.Index(fields=["farm", "planting"], name="crops_event_by_planting")]

    def __str__(self) -> str:
        return f"{self.kind} {self.on}: {self.planting}"


class ScoutingNote(FarmOwned):
    """What somebody saw on a block on a day. A wrong note is withdrawn, never changed."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="scouting_notes")
    planting = models.ForeignKey(Planting, on_delete=models.PROTECT, null=True, related_name="scouting_notes")
    looked_on = models.DateField()
    crop_in_bloom = models.CharField(max_length=10, default=Seen.NOT_LOOKED.value)
    weeds_in_bloom = models.CharField(max_length=10, default=Seen.NOT_LOOKED.value)
    stage = models.PositiveSmallIntegerField(null=True)
    stage_code = models.CharField(max_length=24, blank=True, help_text="A stage by name, or BBCH as b61")
    height_in = models.DecimalField(max_digits=5, decimal_places=1, null=True)
    all_mature = models.CharField(max_length=10, default=Seen.NOT_LOOKED.value)
    text = models.CharField(max_length=NOTE_LENGTH, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(crop_in_bloom__in=SEEN, weeds_in_bloom__in=SEEN), name="crops_note_seen_known"
            ),
            models.CheckConstraint(condition=Q(all_mature__in=SEEN), name="crops_note_mature_known"),
            models.CheckConstraint(
                condition=Q(height_in=None) | Q(height_in__gte=0), name="crops_note_height_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(stage=None) | Q(stage__gte=0, stage__lte=99), name="crops_note_stage_is_zadoks"
            ),
        ]
        indexes = [models.Index(fields=["farm", "block", "looked_on"], name="crops_note_by_block")]

    def __str__(self) -> str:
        return f"look at {self.block} on {self.looked_on}"


class ThresholdRow(FarmOwned):
    """A threshold as this farm has it: its own, or one that came with the book and was changed (same ``code``).

    ``active`` false = not offered here.
    """

    code = models.CharField(max_length=40)
    name = models.CharField(max_length=NAME_LENGTH)
    pest = models.CharField(max_length=40)
    crops = models.JSONField(default=list, help_text="Crop codes; empty = any crop")
    when = models.CharField(max_length=NAME_LENGTH, blank=True)
    measure = models.CharField(max_length=16)
    unit = models.CharField(max_length=10)
    treat_at = models.DecimalField(max_digits=7, decimal_places=2)
    sample_min = models.PositiveSmallIntegerField()
    places_min = models.PositiveSmallIntegerField(default=1)
    places = models.PositiveSmallIntegerField()
    per_place = models.PositiveSmallIntegerField()
    walk = models.CharField(max_length=NOTE_LENGTH, blank=True)
    source = models.CharField(max_length=200)
    surety = models.CharField(max_length=12, default=Surety.OWN.value)
    hold_days = models.PositiveSmallIntegerField(null=True)
    active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm", "code"], name="crops_threshold_code_once_per_farm"),
            models.CheckConstraint(
                condition=Q(measure__in=[m.value for m in Measure]), name="crops_threshold_measure_known"
            ),
            models.CheckConstraint(condition=Q(unit__in=[u.value for u in Unit]), name="crops_threshold_unit_known"),
            models.CheckConstraint(
                condition=Q(surety__in=[s.value for s in Surety]), name="crops_threshold_surety_known"
            ),
            models.CheckConstraint(
                condition=Q(treat_at__gt=0, sample_min__gte=1, places_min__gte=1, places__gte=1, per_place__gte=1),
                name="crops_threshold_numbers_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"threshold {self.code}"


class ScoutCount(FarmOwned):
    """A count on a block by one threshold, as it was then (``rule``). A wrong one is withdrawn, never changed.

    ``spots`` are the stops of the walk, ``[examined, found]`` each.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="scout_counts")
    planting = models.ForeignKey(Planting, on_delete=models.PROTECT, null=True, related_name="scout_counts")
    threshold_code = models.CharField(max_length=40)
    pest = models.CharField(max_length=40)
    rule = models.JSONField()
    spots = models.JSONField()
    nights = models.PositiveSmallIntegerField(null=True)
    verdict = models.CharField(max_length=12)
    looked_on = models.DateField()
    text = models.CharField(max_length=NOTE_LENGTH, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict__in=[v.value for v in Verdict]), name="crops_count_verdict_known"
            ),
        ]
        indexes = [models.Index(fields=["farm", "block", "looked_on"], name="crops_count_by_block")]

    def __str__(self) -> str:
        return f"count of {self.pest} on {self.block}, {self.looked_on}"
