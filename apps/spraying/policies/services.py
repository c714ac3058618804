"""Making a resistance table the farm's own, and editing it. Label limits are not here: they always refuse."""

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
from apps.spraying.models import AdviceRule, SpraySettings
from apps.spraying.policies.queries import own_rule, own_rules, values_of
from apps.spraying.policies.rules import read_row, row_of
from apps.spraying.rules.policies import PRESETS
from farmops.errors import BadInput, Stale, gettext_noop, one_of, refuse

MOST_RULES = 200


@transaction.atomic
def copy_advice(*, member: Member, preset: str, now: datetime) -> SpraySettings:
    """Take a shipped table as the farm's own, to be edited; what the farm had of its own is replaced. Audited."""
    row = _settings(member, now)
    if preset not in PRESETS:
        raise BadInput({"preset": one_of(sorted(PRESETS))})
    _clear(member.farm)
    for rule in PRESETS[preset].group_rules:
        AdviceRule.objects.add(farm=member.farm, preset=preset, **row_of(rule))
    changes = {"preset": preset, "own_advice": True}
    saved: SpraySettings = save_changes(row, member=member, expected_version=row.version, changes=changes, now=now)
    audit.record(
        farm=member.farm, actor=member, verb="copied the advice of", subject=saved, now=now, after={"preset": preset}
    )
    return saved


@transaction.atomic
def follow_shipped(*, member: Member, preset: str, now: datetime) -> SpraySettings:
    """Go back to a shipped table as it is; the farm's own rows go, the trail keeps what they were."""
    row = _settings(member, now)
    if preset not in PRESETS:
        raise BadInput({"preset": one_of(sorted(PRESETS))})
    before = [values_of(r) for r in own_rules(member.farm)] if row.own_advice else []
    _clear(member.farm)
    changes = {"preset": preset, "own_advice": False}
    saved: SpraySettings = save_changes(row, member=member, expected_version=row.version, changes=changes, now=now)
    if before:
        audit.record(
            farm=member.farm, actor=member, verb="gave up own advice", subject=saved, now=now, before={"rules": before}
        )
    return saved


@transaction.atomic
def add_advice(*, member: Member, values: Mapping[str, Any], now: datetime) -> AdviceRule:
    """Add a rule to the farm's own table. ``values`` as ``rules.read_row`` takes them."""
    _own(member, now)
    if own_rules(member.farm).count() >= MOST_RULES:
        raise BadInput({"source": gettext_noop("The table is full.")})
    row: AdviceRule = AdviceRule.objects.add(farm=member.farm, **read_row(values))
    audit.record(farm=member.farm, actor=member, verb="added", subject=row, now=now, after=values_of(row))
    return row


@transaction.atomic
def change_advice(
    *, member: Member, rule_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> AdviceRule:
    """Change a rule of the farm's own table; where it came from stays on it."""
    _own(member, now)
    row = own_rule(member.farm, rule_id)
    wanted = read_row({**values_of(row), **changes})
    if row.preset and any(getattr(row, name) != value for name, value in wanted.items()):
        wanted["edited"] = True
    saved: AdviceRule = save_changes(row, member=member, expected_version=expected_version, changes=wanted, now=now)
    return saved


@transaction.atomic
def drop_advice(*, member: Member, rule_id: int, expected_version: int, now: datetime) -> None:
    """Take a rule out of the farm's own table; the trail keeps what it said."""
    _own(member, now)
    row = own_rule(member.farm, rule_id)
    if row.version != expected_version:
        raise Stale()
    audit.record(farm=member.farm, actor=member, verb="took out", subject=row, now=now, before=values_of(row))
    row.delete()


def _settings(member: Member, now: datetime) -> SpraySettings:
    """The farm's settings, locked by the farm; written down if nobody has set any yet."""
    member.require(Can.EDIT_FARM)
    Farm.objects.select_for_update(no_key=True).get(pk=member.farm.pk)
    row = settings_of(member.farm)
    if row.pk is None:
        row = SpraySettings.objects.add(farm=member.farm)
        audit.record(farm=member.farm, actor=member, verb="opened", subject=row, now=now)
    return row


def _own(member: Member, now: datetime) -> None:
    if not _settings(member, now).own_advice:
        template = gettext_noop("A shipped table is not changed. Make it the farm's own first.")
        raise refuse("advice_is_shipped", template, source="project rule")


def _clear(farm: Farm) -> None:
    own_rules(farm).delete()
