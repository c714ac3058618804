"""How this farm judges its jobs."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.people.services import save_changes
from apps.spraying.facts import settings_of
from apps.spraying.models import SpraySettings
from apps.spraying.rules import PRESETS
from apps.spraying.rules.house import BY_NAME, CERTIFICATE, read_limits
from farmops import clock
from farmops.errors import BadInput, gettext_noop, one_of


@transaction.atomic
def set_spray_settings(
    *, member: Member, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> SpraySettings:
    """Change the advice the farm follows, its own numbers, since when its sprays are on record, its usual interval.

    Numbers as ``rules.house.read_limits`` takes them: they only ask earlier; empty or null = back to the shipped one.

    ``history_known_from`` is a statement: every spray from that day on is in this book.
    """
    member.require(Can.EDIT_FARM)
    Farm.objects.select_for_update(no_key=True).get(pk=member.farm.pk)
    row = settings_of(member.farm)
    wanted = {name: changes.get(name, getattr(row, name)) for name in _NAMES}
    wanted |= read_limits({name: changes[name] for name in _NUMBERS if name in changes})
    _check(wanted, member.farm, now)
    if row.own_advice and wanted["preset"] != row.preset:
        raise BadInput({"preset": gettext_noop("The farm follows its own table: change it under resistance advice.")})
    if row.pk is None:
        row = SpraySettings.objects.add(farm=member.farm)
        audit.record(farm=member.farm, actor=member, verb="opened", subject=row, now=now)
    saved: SpraySettings = save_changes(row, member=member, expected_version=expected_version, changes=wanted, now=now)
    return saved


_NAMES = ("preset", "history_known_from", "interval_from_days", "interval_to_days")
_NUMBERS = (*BY_NAME, CERTIFICATE)


def _check(wanted: Mapping[str, Any], farm: Farm, now: datetime) -> None:
    wrong: dict[str, str] = {}
    if wanted["preset"] not in PRESETS:
        wrong["preset"] = one_of(sorted(PRESETS))
    known = wanted["history_known_from"]
    if known is not None and known > clock.to_local(now, farm.time_zone).date():
        wrong["history_known_from"] = gettext_noop("The day must be today or earlier.")
    if not 1 <= wanted["interval_from_days"] <= 60:
        wrong["interval_from_days"] = gettext_noop("Use 1 to 60 days.")
    if not wanted["interval_from_days"] <= wanted["interval_to_days"] <= 60:
        wrong["interval_to_days"] = gettext_noop("Use at least the first number of days and at most 60.")
    if wrong:
        raise BadInput(wrong)
