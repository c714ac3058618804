"""What every page may show of reminders: the banner when they are late, and how many are new."""

from __future__ import annotations

from typing import Any

from django import template

from apps.people.queries import Member
from apps.reminders import queries
from farmops import clock

register = template.Library()


@register.inclusion_tag("reminders/late.html")
def late_banner(member: Member | None) -> dict[str, Any]:
    """``{% late_banner member %}``: a line at the top of the page when no sweep ended lately."""
    if member is None or not queries.late(clock.now()):
        return {"late": False}
    run = queries.last_run()
    return {"late": True, "farm": member.farm, "finished_at": run.last_finished_at if run else None}


@register.simple_tag
def unseen_notices(member: Member | None) -> int:
    """``{% unseen_notices member as unseen %}``: how many notices this person has not seen."""
    return queries.unseen_count(member.farm, member.person_id) if member else 0
