"""Who may do what on a day: one answer a person and a deed, with its reasons and the last day it holds.

Every answer comes from the rules that the gates ask (``training.rules``): the page cannot say yes where a job is
refused. What is not on record is "unknown", never yes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from apps.training.rules import (
    ADULT,
    MONTHS,
    CertificateFacts,
    Credentials,
    RestrictedUse,
    TrainingKind,
    age_on,
    certificate_findings,
    certificate_on,
    good_through,
    handler_findings,
    latest_training,
    respirator_findings,
    respirator_until,
    restricted_use_findings,
    worker_findings,
)
from farmops.errors import Finding, Severity, gettext_noop


class Deed(StrEnum):
    """What somebody may or may not do."""

    SIGN = "sign"
    SPRAY_ALONE = "spray_alone"
    SPRAY_SUPERVISED = "spray_supervised"
    MIX = "mix"
    WEAR_RESPIRATOR = "wear_respirator"
    ENTER_EARLY = "enter_early"
    WORK_AFTER = "work_after"


DEED_NAMES = {
    Deed.SIGN: gettext_noop("sign own sprays"),
    Deed.SPRAY_ALONE: gettext_noop("spray restricted-use products alone, and supervise"),
    Deed.SPRAY_SUPERVISED: gettext_noop("spray restricted-use products under supervision"),
    Deed.MIX: gettext_noop("mix, load, spray and handle other products"),
    Deed.WEAR_RESPIRATOR: gettext_noop("wear a respirator"),
    Deed.ENTER_EARLY: gettext_noop("enter early as the law allows"),
    Deed.WORK_AFTER: gettext_noop("work where it was sprayed in the last 30 days"),
}


class Word(StrEnum):
    """The answer."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, kw_only=True)
class Leave:
    """May this person do it on this day? ``until`` is the last day a yes holds as things stand (None: no end known).

    ``under`` names who may supervise; ``reasons`` say why not, or what to mind.
    """

    deed: Deed
    word: Word
    until: date | None = None
    reasons: tuple[Finding, ...] = ()
    under: tuple[str, ...] = ()


def leaves(
    who: Credentials, on_date: date, jurisdiction: str, *, applies: bool, certified: Collection[Credentials] = ()
) -> list[Leave]:
    """Every deed for one person. ``applies``: is an applicator here; ``certified``: who could supervise that day."""
    return [
        _sign(who, on_date, jurisdiction, applies),
        _alone(who, on_date, jurisdiction, applies),
        _supervised(who, on_date, jurisdiction, applies, certified),
        _mix(who, on_date, jurisdiction),
        _respirator(who, on_date),
        _early(who, on_date, jurisdiction),
        _work(who, on_date, jurisdiction),
    ]


def certified_people(known: Iterable[Credentials], on_date: date, jurisdiction: str) -> list[Credentials]:
    """Those with a certificate valid in the place on the day, by name."""
    found = [c for c in known if certificate_on(c, on_date, jurisdiction) is not None]
    return sorted(found, key=lambda c: (c.name, c.person_id))


# ---- one deed each ---------------------------------------------------------------------


def _sign(who: Credentials, day: date, place: str, applies: bool) -> Leave:
    """Signing asks for the role and for being named on the job; without a certificate the supervisor may have to."""
    if not applies:
        return Leave(deed=Deed.SIGN, word=Word.NO, reasons=(_no_role(who),))
    held = certificate_on(who, day, place)
    if held is not None:
        return Leave(deed=Deed.SIGN, word=Word.YES, until=_certified_through(held, day))
    template = gettext_noop(
        "{name} has no valid certificate: a spray made under supervision is the supervisor's to sign."
    )
    return Leave(deed=Deed.SIGN, word=Word.YES, reasons=(_note("sign_supervised", template, "project rule", who),))


def _alone(who: Credentials, day: date, place: str, applies: bool) -> Leave:
    faults = certificate_findings(who, day, place)
    if not applies:
        faults = [_no_role(who), *faults]
    held = certificate_on(who, day, place)
    if faults or held is None:
        return Leave(deed=Deed.SPRAY_ALONE, word=Word.NO, reasons=tuple(faults))
    template = gettext_noop("Soil fumigation, aerial work and other special uses ask for their own category.")
    mind = _note("category_asked", template, "40 CFR 171.105", who)
    return Leave(deed=Deed.SPRAY_ALONE, word=Word.YES, until=_certified_through(held, day), reasons=(mind,))


def _supervised(who: Credentials, day: date, place: str, applies: bool, certified: Collection[Credentials]) -> Leave:
    """Under whom, judged for each certified person: the supervisor's family decides the least age."""
    if not applies:
        return Leave(deed=Deed.SPRAY_SUPERVISED, word=Word.NO, reasons=(_no_role(who),))
    if certificate_on(who, day, place) is not None:
        template = gettext_noop("{name} is certified and needs no supervision.")
        found = _note("needs_no_supervision", template, "40 CFR 171.201", who)
        return Leave(deed=Deed.SPRAY_SUPERVISED, word=Word.YES, reasons=(found,))
    others = [c for c in certified if c.person_id != who.person_id]
    if not others:
        template = gettext_noop("Nobody here holds a certificate that is valid today, so nobody can supervise.")
        return Leave(deed=Deed.SPRAY_SUPERVISED, word=Word.NO, reasons=(_refuse("no_supervisor", template, who),))
    use = RestrictedUse(jurisdiction=place, supervised_use_allowed=True)
    judged = [
        (s, restricted_use_findings(who, day, use, supervisor=s, same_family=who.family and s.family)) for s in others
    ]
    under = tuple(s.name for s, found in judged if not _refused(found))
    reasons = _each_once(f for _, found in judged for f in found if not under or f.severity is Severity.NOTE)
    if not under:
        return Leave(deed=Deed.SPRAY_SUPERVISED, word=_word(reasons), reasons=reasons)
    template = gettext_noop("Only where the label allows use under supervision.")
    mind = _note("label_decides", template, "label", who)
    until = _trained_through(who, day, TrainingKind.HANDLER, TrainingKind.SUPERVISED_USE)
    return Leave(deed=Deed.SPRAY_SUPERVISED, word=Word.YES, until=until, under=under, reasons=(mind, *reasons))


def _mix(who: Credentials, day: date, place: str) -> Leave:
    """Handlers: 18 and trained within 12 months; owners and their family are spared both (40 CFR 170.601(a))."""
    if who.family:
        return Leave(deed=Deed.MIX, word=Word.YES, reasons=(_spared(who),))
    faults = [*handler_findings(who, day, place), *_of_age(who, day, "40 CFR 170.309(c)")]
    if faults:
        return Leave(deed=Deed.MIX, word=_word(faults), reasons=tuple(faults))
    held = certificate_on(who, day, place)
    until = _certified_through(held, day) if held else _trained_through(who, day, TrainingKind.HANDLER)
    return Leave(deed=Deed.MIX, word=Word.YES, until=until)


def _respirator(who: Credentials, day: date) -> Leave:
    faults = respirator_findings(who, day)
    if faults:
        return Leave(deed=Deed.WEAR_RESPIRATOR, word=Word.NO, reasons=tuple(faults))
    return Leave(deed=Deed.WEAR_RESPIRATOR, word=Word.YES, until=respirator_until(who, day))


def _early(who: Credentials, day: date, place: str) -> Leave:
    """Early entry: 18 and trained (40 CFR 170.605(a)); family is spared the age, never the gear or the limits."""
    template = gettext_noop(
        "Only by an exception of the law, with the label's gear and within its hours: ask the board."
    )
    mind = _note("board_decides", template, "40 CFR 170.603, 170.605(d)", who)
    if who.family:
        return Leave(deed=Deed.ENTER_EARLY, word=Word.YES, reasons=(_spared(who), mind))
    faults = [*_of_age(who, day, "40 CFR 170.605(a)"), *worker_findings(who, day, place, last_restricted_on=None)]
    if faults:
        return Leave(deed=Deed.ENTER_EARLY, word=_word(faults), reasons=tuple(faults))
    return Leave(deed=Deed.ENTER_EARLY, word=Word.YES, until=_worker_through(who, day, place), reasons=(mind,))


def _work(who: Credentials, day: date, place: str) -> Leave:
    if who.family:
        return Leave(deed=Deed.WORK_AFTER, word=Word.YES, reasons=(_spared(who),))
    faults = worker_findings(who, day, place, last_restricted_on=None)
    if faults:
        return Leave(deed=Deed.WORK_AFTER, word=Word.NO, reasons=tuple(faults))
    return Leave(deed=Deed.WORK_AFTER, word=Word.YES, until=_worker_through(who, day, place))


# ---- until when ------------------------------------------------------------------------


def _certified_through(held: CertificateFacts, day: date) -> date:
    """Its last day, or the day before a suspension that is already known to begin."""
    ahead = [s.from_on for s in held.suspensions if s.from_on > day]
    return min([held.valid_to, *(d - timedelta(days=1) for d in ahead)])


def _trained_through(who: Credentials, day: date, *kinds: TrainingKind) -> date | None:
    """The last day on which at least one of these trainings counts."""
    ends = [
        good_through(held.trained_on, months)
        for kind in kinds
        if (held := latest_training(who, kind, day)) is not None and (months := MONTHS[kind]) is not None
    ]
    return max((end for end in ends if end >= day), default=None)


def _worker_through(who: Credentials, day: date, place: str) -> date | None:
    held = certificate_on(who, day, place)
    if held is not None:
        return _certified_through(held, day)
    return _trained_through(who, day, TrainingKind.HANDLER, TrainingKind.WORKER)


# ---- reasons ---------------------------------------------------------------------------


def _of_age(who: Credentials, day: date, source: str) -> list[Finding]:
    if who.born_on is None:
        template = gettext_noop("The age of {name} is not recorded. One must be 18.")
        return [_refuse("age_unknown", template, who, source=source)]
    if (age := age_on(who.born_on, day)) < ADULT:
        template = gettext_noop("{name} is {age}. One must be 18.")
        return [_refuse("too_young", template, who, source=source, age=str(age))]
    return []


def _word(faults: Iterable[Finding]) -> Word:
    """Unknown when only an unrecorded age stands against it."""
    return Word.UNKNOWN if {f.code for f in faults} == {"age_unknown"} else Word.NO


def _each_once(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """The same reason may stand against every supervisor; it is said once."""
    kept: list[Finding] = []
    for finding in found:
        if finding not in kept:
            kept.append(finding)
    return tuple(kept)


def _refused(found: Iterable[Finding]) -> bool:
    return any(f.severity is not Severity.NOTE for f in found)


def _no_role(who: Credentials) -> Finding:
    return _refuse(
        "not_applicator", gettext_noop("{name} is not an applicator in this book."), who, source="project rule"
    )


def _spared(who: Credentials) -> Finding:
    template = gettext_noop("{name} is an owner or of an owner's immediate family: spared this training and age limit.")
    return _note("family_spared", template, "40 CFR 170.601(a)", who)


def _note(code: str, template: str, source: str, who: Credentials) -> Finding:
    return Finding(code=code, severity=Severity.NOTE, template=template, numbers={"name": who.name}, source=source)


def _refuse(code: str, template: str, who: Credentials, *, source: str = "40 CFR 171.201", **numbers: str) -> Finding:
    said = {"name": who.name, **numbers}
    return Finding(code=code, severity=Severity.REFUSE, template=template, numbers=said, source=source)
