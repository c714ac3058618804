"""The application exclusion zone: how far everyone but the handlers keeps away while spray comes out."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from apps.equipment.rules.exact import not_negative
from apps.products.rules.codes import Method as LabelMethod
from farmops.errors import Finding, Severity, gettext_noop
from farmops.units import show


class Method(StrEnum):
    """How the spray leaves the machine, as far as 40 CFR 170.405 tells methods apart."""

    BOOM = "boom"
    HANDHELD = "handheld"
    AIR_BLAST = "air_blast"
    AERIAL = "aerial"
    FUMIGANT = "fumigant"
    FOG = "fog"  # smoke, mist, fog
    DRIP = "drip"
    SOIL_INJECTION = "soil_injection"


class DropletClass(StrEnum):
    """Droplet classes of ANSI/ASABE S572, finest first; read from the nozzle maker's chart, never from flow."""

    EXTREMELY_FINE = "extremely_fine"
    VERY_FINE = "very_fine"
    FINE = "fine"
    MEDIUM = "medium"
    COARSE = "coarse"
    VERY_COARSE = "very_coarse"
    EXTREMELY_COARSE = "extremely_coarse"
    ULTRA_COARSE = "ultra_coarse"

    @property
    def rank(self) -> int:
        """0 for the finest."""
        return list(DropletClass).index(self)


SOURCE = "40 CFR 170.405(a)"
FAR_FT, NEAR_FT = Decimal(100), Decimal(25)
LOW_RELEASE_IN = Decimal(12)
_ALWAYS_FAR = {Method.AERIAL, Method.AIR_BLAST, Method.FUMIGANT, Method.FOG}
_NO_SPRAY = {Method.DRIP, Method.SOIL_INJECTION}
_ON_LABELS = {Method.AERIAL: LabelMethod.AIR, Method.DRIP: LabelMethod.CHEMIGATION}


def label_method(method: Method) -> LabelMethod:
    """The word labels use for this method: by air, through the irrigation, or otherwise from the ground."""
    return _ON_LABELS.get(method, LabelMethod.GROUND)


@dataclass(frozen=True, kw_only=True)
class ExclusionZone:
    """Radius around the discharge point, moving with it; 0 means this rule sets none. ``because`` says why."""

    distance_ft: Decimal
    because: Finding

    def holds(self, distance_ft: Decimal) -> bool:
        """True when a person that far from the discharge is in the zone (on its edge counts as in: project rule)."""
        return self.distance_ft > 0 and distance_ft <= self.distance_ft


def exclusion_zone(
    *, method: Method | None, droplet_class: DropletClass | None, release_height_in: Decimal | None
) -> ExclusionZone:
    """The zone by method, droplet class and release height above soil (inches).

    What is not known is taken at its widest (project rule). The zone exists only while the
    application lasts, and a zone of 0 ft does not lift the ban on spray touching anyone.
    """
    if method is None:
        return _zone(FAR_FT, "zone_unknown", gettext_noop("How it is applied is not known: {distance} all round."))
    if method in _ALWAYS_FAR:
        return _zone(FAR_FT, "zone_method", gettext_noop("This method of application: {distance} all round."))
    if method in _NO_SPRAY:
        return _zone(
            Decimal(0),
            "zone_none",
            gettext_noop("Nothing is sprayed into the air: no zone. Contact and drift stay forbidden."),
        )
    if droplet_class is None:
        return _zone(FAR_FT, "zone_unknown", gettext_noop("The droplet class is not known: {distance} all round."))
    if droplet_class.rank < DropletClass.MEDIUM.rank:
        return _zone(FAR_FT, "zone_fine", gettext_noop("Droplets finer than medium: {distance} all round."))
    return _coarse_zone(release_height_in)


def _coarse_zone(release_height_in: Decimal | None) -> ExclusionZone:
    if release_height_in is None:
        return _zone(NEAR_FT, "zone_unknown", gettext_noop("The release height is not known: {distance} all round."))
    not_negative(release_height_in, "release_height_in")
    height = f"{show(release_height_in, 2)} in"
    if release_height_in > LOW_RELEASE_IN:
        template = gettext_noop("Medium or coarser droplets released at {height}: {distance} all round.")
        return _zone(NEAR_FT, "zone_high", template, height=height)
    template = gettext_noop(
        "Medium or coarser droplets released at {height}: no zone. Contact and drift stay forbidden."
    )
    return _zone(Decimal(0), "zone_none", template, height=height)


def _zone(distance: Decimal, code: str, template: str, **numbers: str) -> ExclusionZone:
    said = {"distance": f"{distance} ft", **numbers}
    finding = Finding(code=code, severity=Severity.NOTE, template=template, numbers=said, source=SOURCE)
    return ExclusionZone(distance_ft=distance, because=finding)
