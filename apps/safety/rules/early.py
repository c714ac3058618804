"""Early entry: what the law rules out, and what a named supervisor has to decide. Nothing here ever grants it.

40 CFR 170.603 (routes and limits) and 170.605 (duties before). Where the present text was not at hand the number
rests on the former 170.112 or on memory; each says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from farmops.errors import Finding, Severity, gettext_noop

from .facts import must_be_aware

LAW = "40 CFR 170.603"
DUTIES = "40 CFR 170.605"
PROJECT = "project rule"

FIRST_HOURS = timedelta(hours=4)
"""Nobody with contact goes in earlier after the end (40 CFR 170.603(a)-(c); parallel text of former 170.112)."""
SHORT_MINUTES = 60
"""Short-term tasks, in any 24 hours (40 CFR 170.603; parallel text of former 170.112)."""
LIMITED_MINUTES = 8 * 60
"""Limited contact and irrigation, in any 24 hours (EPA page on the exception)."""
DOUBLE_MINUTES = 4 * 60
"""Declared emergency where the label wants both kinds of notice (from memory)."""
ADULT = 18
DAY = timedelta(hours=24)


class Route(StrEnum):
    """The ways the law knows into ground whose interval runs."""

    NO_CONTACT = "no_contact"
    SHORT_TERM = "short_term"
    LIMITED_CONTACT = "limited_contact"
    EMERGENCY = "emergency"
    HANDLER = "handler"


class Briefing(StrEnum):
    """What the worker was told or given before going in (40 CFR 170.605)."""

    WHERE = "where"
    PESTICIDES = "pesticides"
    TIMES = "times"
    EXCEPTION_AND_TASKS = "exception_and_tasks"
    CONTACT_ALLOWED = "contact_allowed"
    HOW_LONG = "how_long"
    PPE_NEEDED = "ppe_needed"
    SUPPLIES = "supplies"
    LABEL_STATEMENTS = "label_statements"


BRIEFING_NAMES = {
    Briefing.WHERE: gettext_noop("where the treated ground is"),
    Briefing.PESTICIDES: gettext_noop("which pesticides were applied"),
    Briefing.TIMES: gettext_noop("when the time to keep out began and when it ends"),
    Briefing.EXCEPTION_AND_TASKS: gettext_noop("which exception is used, and for which tasks"),
    Briefing.CONTACT_ALLOWED: gettext_noop("whether contact with treated surfaces is allowed"),
    Briefing.HOW_LONG: gettext_noop("how long the worker may stay"),
    Briefing.PPE_NEEDED: gettext_noop("which protective equipment the label asks for"),
    Briefing.SUPPLIES: gettext_noop("where safety information and washing supplies are"),
    Briefing.LABEL_STATEMENTS: gettext_noop("what the label says about hazards, first aid and user safety"),
}


@dataclass(frozen=True, kw_only=True)
class Stay:
    """Time a worker spent, or is to spend, in ground whose interval runs."""

    starts_at: datetime
    minutes: int

    @property
    def ends_at(self) -> datetime:
        return self.starts_at + timedelta(minutes=self.minutes)


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What the board knows. ``ended_at`` is the last end of application; ``None`` when it is not on record.

    ``confirmed`` is false while anything is planned, underway or unsigned there. ``level_open`` says that a label's
    air level or ventilation is not attested.
    """

    ended_at: datetime | None
    confirmed: bool
    level_open: bool
    double_notice: bool


@dataclass(frozen=True, kw_only=True)
class Wish:
    """Who wants to go in, for what, and what the supervisor states. Unknown is never taken for yes."""

    route: Route
    stay: Stay
    listed: bool  # a worker of this farm, and not a visitor or a child
    age: int | None = None
    hand_labor: bool = False
    touches_treated: bool = True
    relies_on_gear: bool = False
    contact_limited: bool = False
    unforeseen: bool = False
    real_loss: bool = False
    declaration: str = ""
    trained_handler: bool = False
    gear_given: bool = False
    briefed: frozenset[Briefing] = frozenset()
    used: tuple[Stay, ...] = ()


def ruled_out(ground: Ground, wish: Wish) -> list[Finding]:
    """Every reason that rules this entry out on this route. Empty is no permission: a supervisor decides."""
    must_be_aware(at=wish.stay.starts_at, ended_at=ground.ended_at)
    found = _person(wish) + _ground(ground, wish)
    if wish.route is Route.NO_CONTACT:
        return found + _no_contact(wish)
    if wish.route is Route.HANDLER:
        return found + _handler(wish)
    return found + _first_hours(ground, wish) + _route(ground, wish) + _time(ground, wish) + _duties(wish)


def cap_minutes(route: Route, *, double_notice: bool) -> int | None:
    """Most minutes in any 24 hours on this route; ``None`` where the law names none."""
    if route is Route.EMERGENCY:
        return DOUBLE_MINUTES if double_notice else None
    return {Route.SHORT_TERM: SHORT_MINUTES, Route.LIMITED_CONTACT: LIMITED_MINUTES}.get(route)


def most_in_a_day(stay: Stay, used: Iterable[Stay]) -> int:
    """The most minutes, this stay included, in any 24 hours that touch it; rounded up.

    The window rolls and the minutes add up over all fields (reading of 40 CFR 170.603).
    """
    stays = [stay, *used]
    first, last = stay.starts_at - DAY, stay.ends_at
    # The sum changes evenly between these beginnings, so one of them is the worst; where entries of one worker
    # overlap on record it may be the very edge of the windows that touch this stay.
    begins = {s.starts_at for s in stays} | {s.ends_at - DAY for s in stays} | {first, last}
    touching = [b for b in begins if first <= b <= last]
    return max(-(-sum(_inside(s, b) for s in stays) // 60) for b in touching)


def _inside(stay: Stay, begin: datetime) -> int:
    """Seconds of a stay within the 24 hours from ``begin``."""
    inside = min(stay.ends_at, begin + DAY) - max(stay.starts_at, begin)
    return max(0, int(inside.total_seconds()))


def _person(wish: Wish) -> list[Finding]:
    if not wish.listed:
        template = gettext_noop("Only people who work on this farm may be considered.")
        return [_out("not_listed", template, "40 CFR 170.405; project rule")]
    if wish.route is Route.NO_CONTACT:
        return []
    if wish.age is None:
        return [_out("age_unknown", gettext_noop("The worker's date of birth is not on record."), PROJECT)]
    if wish.age < ADULT:
        return [_out("under_18", gettext_noop("The worker must be at least 18."), f"{DUTIES}(a)")]
    return []


def _ground(ground: Ground, wish: Wish) -> list[Finding]:
    found = []
    if ground.level_open and wish.route is not Route.HANDLER:
        template = gettext_noop("The label's air level or ventilation is not confirmed: nobody goes in.")
        found.append(_out("level_open", template))
    if not ground.confirmed and wish.route is not Route.HANDLER:
        template = gettext_noop("An application is planned, underway or not signed here: there is no early entry yet.")
        found.append(_out("not_confirmed", template, "40 CFR 170.405(a)(2); project rule"))
    elif ground.ended_at is None and wish.route is not Route.HANDLER:
        template = gettext_noop("When the application ended is not known.")
        found.append(_out("end_unknown", template, PROJECT))
    return found


def _no_contact(wish: Wish) -> list[Finding]:
    if wish.relies_on_gear:
        template = gettext_noop("Gear that keeps contact off is not no contact.")
        return [_out("gear_is_contact", template)]
    if wish.touches_treated:
        template = gettext_noop("No contact means that nothing treated is touched: soil, water, air, plants.")
        return [_out("contact", template)]
    return []


def _handler(wish: Wish) -> list[Finding]:
    found = []
    if not wish.trained_handler:
        found.append(_out("no_handler", gettext_noop("Handler tasks need a trained handler."), "40 CFR 170.501"))
    if not wish.gear_given:
        found.append(_out("gear_missing", gettext_noop("The handler's protective equipment must be given."), DUTIES))
    return found


def _first_hours(ground: Ground, wish: Wish) -> list[Finding]:
    if ground.ended_at is None or wish.stay.starts_at >= ground.ended_at + FIRST_HOURS:
        return []
    return [_out("first_4_hours", gettext_noop("Nobody goes in with contact in the first 4 hours after the end."))]


def _route(ground: Ground, wish: Wish) -> list[Finding]:
    found = []
    if wish.route is not Route.EMERGENCY and wish.hand_labor:
        found.append(_out("hand_labor", gettext_noop("Hand labor is not possible on this route.")))
    if wish.route is Route.EMERGENCY and not wish.declaration.strip():
        template = gettext_noop("No agency's declaration is named: without one there is no emergency route.")
        found.append(_out("no_declaration", template))
    if wish.route is not Route.SHORT_TERM and not wish.real_loss:
        found.append(_out("no_loss", gettext_noop("A delay must mean a substantial loss, with no other way.")))
    if wish.route is Route.LIMITED_CONTACT:
        found += _limited(ground, wish)
    return found


def _limited(ground: Ground, wish: Wish) -> list[Finding]:
    found = []
    if not wish.unforeseen:
        found.append(_out("foreseeable", gettext_noop("The need must not have been foreseeable.")))
    if not wish.contact_limited:
        template = gettext_noop("Contact must be slight: feet, lower legs, hands and forearms only.")
        found.append(_out("contact_not_limited", template))
    if ground.double_notice:
        template = gettext_noop("The label asks for spoken and posted notice: this route is shut.")
        found.append(_out("double_notice", template))
    return found


def _time(ground: Ground, wish: Wish) -> list[Finding]:
    cap = cap_minutes(wish.route, double_notice=ground.double_notice)
    if wish.stay.minutes <= 0:
        return [_out("no_minutes", gettext_noop("Say how many minutes it takes."), PROJECT)]
    total = most_in_a_day(wish.stay, wish.used)
    if cap is None or total <= cap:
        return []
    template = gettext_noop("With what was used already it makes {total} in 24 hours; at most {cap} on this route.")
    return [_out("too_long", template, total=f"{total} min", cap=f"{cap} min")]


def _duties(wish: Wish) -> list[Finding]:
    found = []
    for item in Briefing:
        if item not in wish.briefed:
            template = gettext_noop("The worker was not told: {item}.")
            found.append(_out("not_briefed", template, f"{DUTIES}(b)", item=BRIEFING_NAMES[item]))
    if not wish.gear_given:
        template = gettext_noop("The protective equipment that the label names for early entry must be given.")
        found.append(_out("gear_missing", template, f"{DUTIES}(d)"))
    return found


def _out(code: str, template: str, source: str = LAW, **numbers: str) -> Finding:
    return Finding(code=code, severity=Severity.REFUSE, template=template, numbers=numbers, source=source)


def ended_at(hours: str, ends_at: datetime | None) -> datetime | None:
    """The end of application behind a timed interval: its end less its hours. ``None`` when it has no hours."""
    number = hours.split()[0] if hours.strip() else ""
    if ends_at is None or not number:
        return None
    return ends_at - timedelta(seconds=int(Decimal(number) * 3600))


def last_end(ends: Sequence[datetime | None]) -> datetime | None:
    """The last of several ends; not known if one of them is not."""
    known = [end for end in ends if end is not None]
    return max(known) if known and len(known) == len(ends) else None
