"""Weather as it was read, and rain as it was caught."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.weather.rules.rain import MOST_INCHES, Gauge
from apps.weather.rules.readings import COMPASS, MAX_F, MAX_WIND_MPH, MIN_F, Source

SOURCES = [s.value for s in Source]


class Reading(FarmOwned):
    """Wind, and where measured temperature and humidity, at one moment. Never changed; a wrong one is read again."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, null=True, related_name="+")
    taken_at = models.DateTimeField()
    wind_mph = models.DecimalField(max_digits=5, decimal_places=1)
    gust_mph = models.DecimalField(max_digits=5, decimal_places=1, null=True)
    wind_from = models.CharField(max_length=3, blank=True)
    temperature_f = models.DecimalField(max_digits=5, decimal_places=1, null=True)
    humidity_percent = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    source = models.CharField(max_length=10)
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(source__in=SOURCES), name="reading_source_known"),
            models.CheckConstraint(condition=Q(wind_from__in=["", *COMPASS]), name="reading_wind_from_known"),
            models.CheckConstraint(
                condition=Q(wind_mph__gte=0, wind_mph__lte=int(MAX_WIND_MPH)), name="reading_wind_real"
            ),
            models.CheckConstraint(
                condition=Q(gust_mph=None) | Q(gust_mph__gte=F("wind_mph")), name="reading_gust_at_least_wind"
            ),
            models.CheckConstraint(
                condition=Q(temperature_f=None) | Q(temperature_f__gte=int(MIN_F), temperature_f__lte=int(MAX_F)),
                name="reading_temperature_real",
            ),
            models.CheckConstraint(
                condition=Q(humidity_percent=None) | Q(humidity_percent__gt=0, humidity_percent__lte=100),
                name="reading_humidity_real",
            ),
        ]
        indexes = [models.Index(fields=["farm", "-taken_at"], name="reading_newest")]

    def __str__(self) -> str:
        return f"reading at {self.taken_at:%Y-%m-%d %H:%M} UTC"


class Rainfall(FarmOwned):
    """What a gauge caught from one look to the next. A wrong reading is withdrawn, never changed."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, null=True, related_name="+")
    from_at = models.DateTimeField(help_text="When the gauge was last empty")
    until_at = models.DateTimeField(help_text="When it was read")
    inches = models.DecimalField(max_digits=5, decimal_places=2)
    source = models.CharField(max_length=10, default=Gauge.GAUGE.value)
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(source__in=[g.value for g in Gauge]), name="rainfall_source_known"),
            models.CheckConstraint(condition=Q(until_at__gt=F("from_at")), name="rainfall_in_order"),
            models.CheckConstraint(condition=Q(inches__gte=0, inches__lte=int(MOST_INCHES)), name="rainfall_real"),
        ]
        indexes = [models.Index(fields=["farm", "-until_at"], name="rainfall_newest")]

    def __str__(self) -> str:
        return f"{self.inches} in of rain until {self.until_at:%Y-%m-%d %H:%M} UTC"
