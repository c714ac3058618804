"""People in closed buildings inside the exclusion zone: who may stay while it is sprayed.

40 CFR 170.405(a)(2) keeps everybody but the handlers out of the zone; 170.601(a)(1) lets the owner's immediate family
stay in a closed building on the farm if the handlers were told (paragraph and wording from memory). Nobody else may
stay, and what is not known is not allowed (project rule). The book cannot see into a house: the applicator says it.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from farmops.errors import Finding, Severity, gettext_noop

LAW = "40 CFR 170.405(a)(2), 170.601(a)(1)"


class Inside(StrEnum):
    """Who is in closed buildings in the zone, as the applicator says at the start."""

    NOBODY = "nobody"
    FAMILY = "family"  # none but the owner's immediate family, doors and windows shut, and the handlers were told
    OTHERS = "others"  # anybody else, alone or beside the family


INSIDE_NAMES: dict[Inside, str] = {
    Inside.NOBODY: gettext_noop("Nobody"),
    Inside.FAMILY: gettext_noop("Only the owner's family, doors and windows shut, and I was told"),
    Inside.OTHERS: gettext_noop("Somebody else, too"),
}


def in_buildings(buildings: Sequence[str], said: Inside | None) -> list[Finding]:
    """A refusal for anybody who may not stay; ``buildings`` are the mapped ones in the zone, by name.

    Silence about a mapped building is a refusal; where none is mapped the question may be left open.
    """
    if said is Inside.OTHERS:
        template = gettext_noop(
            "Somebody who is not of the owner's family is in a closed building in the exclusion zone. They must leave "
            "first."
        )
        return [Finding(code="people_in_building", severity=Severity.REFUSE, template=template, source=LAW)]
    if said is not None or not buildings:
        return []
    template = gettext_noop("In the exclusion zone lies {places}. Say who is in closed buildings there.")
    names = {"places": ", ".join(buildings)}
    return [Finding(code="building_not_asked", severity=Severity.REFUSE, template=template, numbers=names, source=LAW)]
