"""What season programs ask for now: a start, an opening, a closing, a missed window, rain, a threshold reached."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from apps.crops.counts import counts
from apps.crops.models import ScoutCount
from apps.crops.rules import Verdict
from apps.people.models import Farm
from apps.people.queries import person_ids_with
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register, rolled
from apps.reminders.rules.timing import next_midnight
from apps.spraying.programs import queries
from apps.spraying.programs.queries import Followed
from apps.spraying.programs.rules import Ask, AskKind, Window
from apps.spraying.rules.interval import Phase
from farmops import clock
from farmops.errors import gettext_noop

WINDOW_DUE = register("program_window", Level.INFORMATION)
WINDOW_MISSED = register("program_missed", Level.DO_TODAY)
RAIN_ASKS = register("program_rain", Level.DO_TODAY)
THRESHOLD = register("threshold_reached", Level.DO_TODAY)

TOLD_FOR = timedelta(days=14)
"""A missed window is told for two weeks; on the program's page it stays for good."""


def due(farm: Farm, now: datetime) -> list[Due]:
    """Everything programs and thresholds ask for now; a constant number of queries."""
    today = clock.to_local(now, farm.time_zone).date()
    managers = person_ids_with(farm, Role.MANAGER)
    found = queries.followed(farm, now)
    return [
        *(d for of_one in _by_program(found) for d in _of_program(farm, of_one, today, managers)),
        *_thresholds(farm, found, today, managers),
    ]


def next_due(farm: Farm, now: datetime) -> datetime:
    """Windows are days: only the date changes what is due by itself."""
    return next_midnight(now, farm.time_zone)


def page_of(f: Followed) -> str:
    return f"/f/{f.program.farm.slug}/programs/{f.program.pk}/"


def plan_path(f: Followed) -> str:
    """Where the job of the next window is planned in one step."""
    return f"{page_of(f)}blocks/{f.block.pk}/plan/"


def _by_program(found: Iterable[Followed]) -> list[list[Followed]]:
    groups: dict[int, list[Followed]] = {}
    for f in found:
        groups.setdefault(f.program.pk, []).append(f)
    return list(groups.values())


def _of_program(farm: Farm, of_one: list[Followed], today: date, managers: list[int]) -> list[Due]:
    """What its blocks ask for alike is asked once."""
    said = (d for f in of_one for d in _of_block(f, today, managers))
    return rolled(said, slot="block", subject=("program", of_one[0].program.pk), path=page_of(of_one[0]))


def _of_block(f: Followed, today: date, managers: list[int]) -> Iterable[Due]:
    yield from _missed(f, today, managers)
    if f.course.end is not None:
        return
    yield from _rain(f, managers)
    yield from _window(f, today, managers)


_SAID = {
    Phase.OPEN: gettext_noop("{program}, {block}: pass {number} fits from {opens} through {closes}."),
    Phase.CLOSING: gettext_noop("{program}, {block}: the time for pass {number} ends {closes}."),
}
_STARTED = gettext_noop("{program} begins on {block}: the first pass fits from {opens} through {closes}.")


def _window(f: Followed, today: date, managers: list[int]) -> Iterable[Due]:
    """Open, or closing; nothing while a spray is booked in time. That an overdue pass may be sprayed says its miss."""
    window = f.course.next
    phase = window.phase(today) if window is not None and not window.reckoned else None
    if window is None or phase is None or _booked(f, window) or (window.again and phase is Phase.OPEN):
        return
    first = window.pass_no == 1 and not f.course.behind and phase is Phase.OPEN
    yield _due(f, WINDOW_DUE, f"{phase} {window.opens_on}", _STARTED if first else _SAID[phase], managers, window)


def _booked(f: Followed, window: Window) -> bool:
    booked = f.course.booked_on
    return booked is not None and booked <= window.closes_on


def _missed(f: Followed, today: date, managers: list[int]) -> Iterable[Due]:
    """Each missed window by itself: the next one does not take its place."""
    template = gettext_noop("{program}, {block}: pass {number} was missed; it was due from {opens} through {closes}.")
    for window in f.course.missed:
        if window.closes_on >= max(f.program.set_up_on, today - TOLD_FOR):
            yield _due(f, WINDOW_MISSED, f"missed {window.opens_on}", template, managers, window)


_RAIN_SAID = {
    AskKind.HEAVY_RAIN: gettext_noop(
        "{program}, {block}: {inches} in of rain may have fallen within a day of {job}. Decide: continue, respray or "
        "end."
    ),
    AskKind.RAIN_TOO_SOON: gettext_noop(
        "{program}, {block}: it may have rained within the {limit} h the label asks for after {job}. Decide: continue, "
        "respray or end."
    ),
}


def _rain(f: Followed, managers: list[int]) -> Iterable[Due]:
    for ask in f.course.open_asks:
        yield Due(
            kind=RAIN_ASKS,
            subject_type="block",
            subject_id=f.block.pk,
            occasion=f"program {f.program.pk}: {ask.kind} {ask.inches} in after {ask.spray.on}",
            person_ids=managers,
            template=_RAIN_SAID[ask.kind],
            numbers={**_names(f), **_amounts(ask)},
            path=page_of(f),
        )


def _amounts(ask: Ask) -> dict[str, str]:
    return {"inches": f"{ask.inches.normalize():f}", "limit": f"{ask.limit.normalize():f}", "job": ask.spray.job_ref}


def _names(f: Followed) -> dict[str, str]:
    return {"program": f.program.name, "block": str(f.block)}


def _due(f: Followed, kind: str, occasion: str, template: str, managers: list[int], window: Window) -> Due:
    return Due(
        kind=kind,
        subject_type="block",
        subject_id=f.block.pk,
        occasion=f"program {f.program.pk}: {occasion}",
        person_ids=managers,
        template=template,
        numbers={
            **_names(f),
            "number": str(window.pass_no),
            "opens": window.opens_on,
            "closes": window.closes_on,
        },
        path=plan_path(f),
        at=window.opens_on,
        until=window.closes_on,
    )


# ---- thresholds ------------------------------------------------------------------------


def _thresholds(farm: Farm, found: list[Followed], today: date, managers: list[int]) -> Iterable[Due]:
    """Counts of the last week that reached their threshold and that no spray has followed yet."""
    rows = counts(farm).filter(verdict=Verdict.REACHED.value, looked_on__gt=today - queries.COUNT_FRESH)
    newest: dict[tuple[int, str], ScoutCount] = {}
    for row in rows.order_by("looked_on", "pk"):
        newest[(row.block_id, row.pest)] = row
    for row in newest.values():
        mine = [f for f in found if f.block.pk == row.block_id and row.pest in f.facts.targets]
        if any(_answered(f, row) for f in mine):
            continue
        yield _reached(farm, row, next((f for f in mine if f.course.end is None), None), managers)


def _answered(f: Followed, row: ScoutCount) -> bool:
    """Whether the count is held, or a spray of the program came on or after its day or is booked."""
    held = row.pk not in {c.pk for c in f.counts}
    return held or any(s.on >= row.looked_on for s in f.ground.sprays)


def _reached(farm: Farm, row: ScoutCount, f: Followed | None, managers: list[int]) -> Due:
    window = f.course.next if f is not None else None
    numbers = {"block": str(row.block), "pest": row.rule["name"], "on": row.looked_on}
    if f is None or window is None or window.reckoned:
        template = gettext_noop("{block}: {pest} reached its threshold on {on}. No season program has a window for it.")
        path = f"/f/{farm.slug}/scouting/counts/{row.pk}/"
    else:
        template = gettext_noop(
            "{block}: {pest} reached its threshold on {on}. {program}: the next pass fits from {opens} through "
            "{closes}."
        )
        numbers |= {"program": f.program.name, "opens": window.opens_on, "closes": window.closes_on}
        path = plan_path(f)
    return Due(
        kind=THRESHOLD,
        subject_type="block",
        subject_id=row.block_id,
        occasion=f"count {row.pk}",
        person_ids=managers,
        template=template,
        numbers=numbers,
        path=path,
    )
