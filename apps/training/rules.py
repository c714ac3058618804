"""Who may handle, apply and supervise on a given day: certificates, training, age.

Days are farm-local calendar days. Whatever is not recorded counts as not there.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from farmops.errors import Finding, Severity, gettext_noop


class CertificateKind(StrEnum):
    """Private: on the holder's own or rented land. Commercial: for others. 40 CFR 171.101, 171.105."""

    PRIVATE = "private"
    COMMERCIAL = "commercial"


KIND_NAMES = {
    CertificateKind.PRIVATE: gettext_noop("private applicator"),
    CertificateKind.COMMERCIAL: gettext_noop("commercial applicator"),
}


class TrainingKind(StrEnum):
    """What a training or clearance is for. Of the respirator only the date is kept, never anything medical."""

    WORKER = "worker"  # 40 CFR 170.401
    HANDLER = "handler"  # 40 CFR 170.501
    SUPERVISED_USE = "supervised_use"  # 40 CFR 171.201
    PRODUCT = "product"  # a topic the label asks for
    RESPIRATOR_MEDICAL = "respirator_medical"  # cleared by the medical evaluation, 40 CFR 170.507(b)(10)
    RESPIRATOR_FIT = "respirator_fit"
    RESPIRATOR_USE = "respirator_use"


YEAR = 12
# Months a training counts; None: until replaced. Worker and handler: every 12 months, no grace (40 CFR 170.401(a),
# 170.501(a)). Supervised use: 40 CFR 171.201. Fit test and respirator training yearly: from memory.
MONTHS: dict[TrainingKind, int | None] = {
    TrainingKind.WORKER: YEAR,
    TrainingKind.HANDLER: YEAR,
    TrainingKind.SUPERVISED_USE: YEAR,
    TrainingKind.PRODUCT: None,  # the label says
    TrainingKind.RESPIRATOR_MEDICAL: None,
    TrainingKind.RESPIRATOR_FIT: YEAR,
    TrainingKind.RESPIRATOR_USE: YEAR,
}
LOOK_BACK_DAYS = 30  # 40 CFR 170.401: ground treated or under an entry interval within the last 30 days
ADULT, FAMILY_MINIMUM = 18, 16  # 40 CFR 171.201; the younger only under a certified member of the immediate family
REMIND_DAYS = (90, 30, 7, 0)
REMIND_AFTER_DAYS = 7


@dataclass(frozen=True, kw_only=True)
class Suspension:
    """From ``from_on`` until the day it was lifted; that day counts as valid again. Not lifted: ``lifted_on`` None."""

    from_on: date
    lifted_on: date | None = None

    def holds_on(self, day: date) -> bool:
        return self.from_on <= day and (self.lifted_on is None or day < self.lifted_on)


@dataclass(frozen=True, kw_only=True)
class CertificateFacts:
    """An applicator certificate; ``valid_to`` is its last day, inclusive. Categories are lower-case codes."""

    number: str
    jurisdiction: str
    kind: CertificateKind
    categories: frozenset[str]
    valid_from: date
    valid_to: date
    suspensions: tuple[Suspension, ...] = ()
    id: int | None = None

    def suspended_on(self, day: date) -> bool:
        return any(s.holds_on(day) for s in self.suspensions)


@dataclass(frozen=True, kw_only=True)
class TrainingFacts:
    """One training or clearance; ``topic`` only for product training."""

    kind: TrainingKind
    trained_on: date
    topic: str = ""
    id: int | None = None


@dataclass(frozen=True, kw_only=True)
class Credentials:
    """Everything known of one person on one farm."""

    person_id: int
    name: str
    certificates: tuple[CertificateFacts, ...] = ()
    trainings: tuple[TrainingFacts, ...] = ()
    born_on: date | None = None
    family: bool = False  # an owner, or of an owner's immediate family: 40 CFR 170.601(a)


# ---- certificates ----------------------------------------------------------------------


def certificate_on(
    credentials: Credentials, on_date: date, jurisdiction: str, category: str | None = None
) -> CertificateFacts | None:
    """The certificate that covers the day, place and category, the longest-lasting one; None if none does.

    A person counts as certified only while the certificate is valid where the product is used
    (40 CFR 171.1(b)); it counts through its last day.
    """
    good = [c for c in credentials.certificates if not _faults(c, on_date, jurisdiction, category)]
    return max(good, key=lambda c: (c.valid_to, c.number), default=None)


def certificate_findings(
    credentials: Credentials, on_date: date, jurisdiction: str, category: str | None = None
) -> list[Finding]:
    """Nothing when a certificate covers the day; otherwise every reason, certificate by certificate."""
    if certificate_on(credentials, on_date, jurisdiction, category) is not None:
        return []
    if not credentials.certificates:
        template = gettext_noop("{name} has no applicator certificate on file.")
        return [_refuse("certificate_missing", template, _CERTIFIED, name=credentials.name)]
    return [
        _refuse(code, template, _CERTIFIED, name=credentials.name, number=c.number, **numbers)
        for c in credentials.certificates
        for code, template, numbers in _faults(c, on_date, jurisdiction, category)
    ]


_CERTIFIED = "40 CFR 171.1(b)"
Fault = tuple[str, str, dict[str, str]]


def _faults(c: CertificateFacts, day: date, jurisdiction: str, category: str | None) -> list[Fault]:
    found: list[Fault] = []
    on = {"day": day.isoformat()}
    if day < c.valid_from:
        template = gettext_noop("Certificate {number} of {name} begins on {begins}, after {day}.")
        found.append(("certificate_not_begun", template, {**on, "begins": c.valid_from.isoformat()}))
    if day > c.valid_to:
        template = gettext_noop("Certificate {number} of {name} ended on {ended}, before {day}.")
        found.append(("certificate_ended", template, {**on, "ended": c.valid_to.isoformat()}))
    if c.suspended_on(day):
        template = gettext_noop("Certificate {number} of {name} is suspended on {day}.")
        found.append(("certificate_suspended", template, on))
    if not jurisdiction or c.jurisdiction.casefold() != jurisdiction.casefold():
        template = gettext_noop("Certificate {number} of {name} is from {from_place}, not valid in {place}.")
        said = {"from_place": c.jurisdiction, "place": jurisdiction or "?"}
        found.append(("certificate_elsewhere", template, said))
    if category is not None and category not in c.categories:
        template = gettext_noop("Certificate {number} of {name} does not have the category {category}.")
        found.append(("certificate_category", template, {"category": category}))
    return found


def signing_findings(
    credentials: Credentials, *, applied_on: date, signed_on: date, jurisdiction: str, category: str | None = None
) -> list[Finding]:
    """The certificate is judged on the day of the application; one that ended before signing is noted."""
    refused = certificate_findings(credentials, applied_on, jurisdiction, category)
    if refused or certificate_on(credentials, signed_on, jurisdiction, category) is not None:
        return refused
    held = certificate_on(credentials, applied_on, jurisdiction, category)
    template = gettext_noop("Certificate {number} of {name} was valid on {applied} but not on {signed}.")
    numbers = {
        "number": held.number if held else "",
        "name": credentials.name,
        "applied": applied_on.isoformat(),
        "signed": signed_on.isoformat(),
    }
    return [
        Finding(
            code="certificate_ended_since",
            severity=Severity.NOTE,
            template=template,
            numbers=numbers,
            source="project rule: judged on the day of the application",
            field="certificate",
        )
    ]


# ---- training --------------------------------------------------------------------------


def good_through(trained_on: date, months: int) -> date:
    """Last day a training counts: the same day of the month, ``months`` later (the month's last day if shorter)."""
    years, month = divmod(trained_on.month - 1 + months, 12)
    year, month = trained_on.year + years, month + 1
    return date(year, month, min(trained_on.day, calendar.monthrange(year, month)[1]))


def latest_training(
    credentials: Credentials, kind: TrainingKind, on_date: date, topic: str = ""
) -> TrainingFacts | None:
    """The newest training of a kind (and topic) held on or before the day."""
    held = [
        t
        for t in credentials.trainings
        if t.kind is kind and t.trained_on <= on_date and t.topic.casefold() == topic.casefold()
    ]
    return max(held, key=lambda t: t.trained_on, default=None)


def training_findings(
    credentials: Credentials, kind: TrainingKind, on_date: date, *, months: int | None = None, topic: str = ""
) -> list[Finding]:
    """Nothing when the training is in date; ``months`` overrides the usual length (product training: the label's)."""
    held = latest_training(credentials, kind, on_date, topic)
    said = {"name": credentials.name, "training": topic or TRAINING_NAMES[kind], "day": on_date.isoformat()}
    source = TRAINING_SOURCES[kind]
    if held is None:
        template = gettext_noop("{name} has no {training} training on or before {day}.")
        return [_refuse("training_missing", template, source, **said)]
    length = MONTHS[kind] if months is None else months
    if length is None or on_date <= good_through(held.trained_on, length):
        return []
    template = gettext_noop("The {training} training of {name} counted through {until}; it is out of date on {day}.")
    until = good_through(held.trained_on, length).isoformat()
    return [_refuse("training_out_of_date", template, source, until=until, **said)]


TRAINING_NAMES = {
    TrainingKind.WORKER: gettext_noop("worker"),
    TrainingKind.HANDLER: gettext_noop("handler"),
    TrainingKind.SUPERVISED_USE: gettext_noop("supervised-use"),
    TrainingKind.PRODUCT: gettext_noop("product"),
    TrainingKind.RESPIRATOR_MEDICAL: gettext_noop("respirator clearance"),
    TrainingKind.RESPIRATOR_FIT: gettext_noop("respirator fit"),
    TrainingKind.RESPIRATOR_USE: gettext_noop("respirator use"),
}
TRAINING_SOURCES = {
    TrainingKind.WORKER: "40 CFR 170.401",
    TrainingKind.HANDLER: "40 CFR 170.501",
    TrainingKind.SUPERVISED_USE: "40 CFR 171.201",
    TrainingKind.PRODUCT: "label",
    TrainingKind.RESPIRATOR_MEDICAL: "40 CFR 170.507(b)(10)",
    TrainingKind.RESPIRATOR_FIT: "40 CFR 170.507(b)(10)",
    TrainingKind.RESPIRATOR_USE: "40 CFR 170.507(b)(10)",
}


def handler_findings(credentials: Credentials, on_date: date, jurisdiction: str) -> list[Finding]:
    """Handlers are trained every 12 months; a certified applicator needs no more (from memory)."""
    if certificate_on(credentials, on_date, jurisdiction) is not None:
        return []
    return training_findings(credentials, TrainingKind.HANDLER, on_date)


def worker_findings(
    credentials: Credentials, on_date: date, jurisdiction: str, *, last_restricted_on: date | None
) -> list[Finding]:
    """Training before work on ground that was treated or closed in the last 30 days.

    ``last_restricted_on`` is the last day with an application or an entry interval on that ground; None
    when that is not known, which asks for the training. Handler training serves as well (from memory).
    """
    if last_restricted_on is not None and on_date - last_restricted_on > timedelta(days=LOOK_BACK_DAYS):
        return []
    if certificate_on(credentials, on_date, jurisdiction) is not None:
        return []
    if not training_findings(credentials, TrainingKind.HANDLER, on_date):
        return []
    return training_findings(credentials, TrainingKind.WORKER, on_date)


def product_findings(credentials: Credentials, on_date: date, *, topic: str, months: int) -> list[Finding]:
    """The training a label asks for by topic, good for the label's months; a certificate does not replace it."""
    return training_findings(credentials, TrainingKind.PRODUCT, on_date, months=months, topic=topic)


def respirator_findings(credentials: Credentials, on_date: date) -> list[Finding]:
    """Medical clearance, fit test and training, all three, before a respirator is worn."""
    steps = (TrainingKind.RESPIRATOR_MEDICAL, TrainingKind.RESPIRATOR_FIT, TrainingKind.RESPIRATOR_USE)
    return [f for kind in steps for f in training_findings(credentials, kind, on_date)]


def respirator_until(credentials: Credentials, on_date: date) -> date | None:
    """Last day on which a respirator may be worn as things stand; None when a step is missing or out of date."""
    if respirator_findings(credentials, on_date):
        return None
    yearly = (TrainingKind.RESPIRATOR_FIT, TrainingKind.RESPIRATOR_USE)
    held = [latest_training(credentials, kind, on_date) for kind in yearly]
    return min(good_through(t.trained_on, YEAR) for t in held if t is not None)


# ---- restricted use and supervision ----------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class RestrictedUse:
    """What of a planned use decides who may do it. ``supervised_use_allowed`` None: the label row does not say."""

    jurisdiction: str
    category: str | None = None
    aerial: bool = False
    fumigant: bool = False
    supervised_use_allowed: bool | None = None


def restricted_use_findings(
    operator: Credentials,
    on_date: date,
    use: RestrictedUse,
    *,
    supervisor: Credentials | None = None,
    same_family: bool = False,
) -> list[Finding]:
    """Whether ``operator`` may put out a restricted-use product on the day, alone or under ``supervisor``.

    ``same_family``: the supervisor is of the operator's immediate family (40 CFR 170.305 lists who is).
    """
    alone = certificate_findings(operator, on_date, use.jurisdiction, use.category)
    if not alone or supervisor is None:
        return alone
    found = [] if use.supervised_use_allowed else [_supervision_of(use)]
    found += certificate_findings(supervisor, on_date, use.jurisdiction, use.category)
    if training_findings(operator, TrainingKind.HANDLER, on_date):  # handler training serves as well (from memory)
        found += training_findings(operator, TrainingKind.SUPERVISED_USE, on_date)
    return found + _age_findings(operator, on_date, use, same_family)


def _supervision_of(use: RestrictedUse) -> Finding:
    if use.supervised_use_allowed is False:
        template = gettext_noop("The label allows certified applicators only, no use under supervision.")
        return _refuse("supervised_use_forbidden", template, "label")
    return Finding(
        code="supervised_use_unknown",
        severity=Severity.JUSTIFY,
        template=gettext_noop("It is not recorded whether the label allows use under supervision. Read the label."),
        source="label",
        field="supervisor",
    )


def age_on(born_on: date, day: date) -> int:
    """Whole years; somebody born on 29 February has a birthday on 1 March in other years."""
    return day.year - born_on.year - ((day.month, day.day) < (born_on.month, born_on.day))


def _age_findings(operator: Credentials, day: date, use: RestrictedUse, same_family: bool) -> list[Finding]:
    source = "40 CFR 171.201"
    if operator.born_on is None:
        template = gettext_noop("The age of {name} is not recorded. Under supervision one must be 18.")
        return [_refuse("age_unknown", template, source, name=operator.name)]
    age = age_on(operator.born_on, day)
    if age >= ADULT:
        return []
    if age < FAMILY_MINIMUM or not same_family or use.aerial or use.fumigant:
        template = gettext_noop("{name} is {age}. Under supervision one must be 18.")
        return [_refuse("too_young", template, source, name=operator.name, age=str(age))]
    template = gettext_noop("{name} is {age}, under a certified member of the family. State law may ask for more.")
    numbers = {"name": operator.name, "age": str(age)}
    return [
        Finding(code="young_family_member", severity=Severity.NOTE, template=template, numbers=numbers, source=source)
    ]


# ---- running out -----------------------------------------------------------------------


def days_left(last_day: date, on_date: date) -> int:
    """Days after ``on_date`` that still count; 0 on the last day, negative afterwards."""
    return (last_day - on_date).days


def reminder_mark(left: int) -> int | None:
    """The reminder stage reached with ``left`` days to go: 90, 30, 7 or 0; None outside of them.

    A stage once reached stays reached until the next, so a sweep that missed a day still tells.
    """
    if left < -REMIND_AFTER_DAYS:
        return None
    return min((mark for mark in REMIND_DAYS if left <= mark), default=None)


def _refuse(code: str, template: str, source: str, **numbers: str) -> Finding:
    field = "certificate" if code.startswith("certificate") else ""
    return Finding(code=code, severity=Severity.REFUSE, template=template, numbers=numbers, source=source, field=field)
