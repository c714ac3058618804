"""Certificates, training and age on the day. Cases F1 to F10 follow 40 CFR 170 and 171; the rule stands beside each."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from apps.training.rules import (
    CertificateFacts,
    CertificateKind,
    Credentials,
    RestrictedUse,
    Suspension,
    TrainingFacts,
    TrainingKind,
    age_on,
    certificate_findings,
    certificate_on,
    days_left,
    good_through,
    handler_findings,
    product_findings,
    reminder_mark,
    respirator_findings,
    respirator_until,
    restricted_use_findings,
    signing_findings,
    worker_findings,
)
from farmops.errors import Finding, Severity

DAY = date(2026, 6, 1)
HERE = "US-IA"


def certificate(**kw: object) -> CertificateFacts:
    facts: dict[str, object] = {
        "number": "P-100",
        "jurisdiction": HERE,
        "kind": CertificateKind.PRIVATE,
        "categories": frozenset({"general"}),
        "valid_from": date(2023, 1, 1),
        "valid_to": date(2027, 12, 31),
    }
    return CertificateFacts(**{**facts, **kw})  # type: ignore[arg-type]


def person(
    *certificates: CertificateFacts, trained: dict[TrainingKind, date] | None = None, **kw: object
) -> Credentials:
    trainings = tuple(TrainingFacts(kind=k, trained_on=on) for k, on in (trained or {}).items())
    return Credentials(person_id=1, name="Ada Field", certificates=certificates, **{"trainings": trainings, **kw})  # type: ignore[arg-type]


def codes(findings: list[Finding]) -> list[str]:
    return [f.code for f in findings]


# ---- certificates ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "category", "expected"),
    [
        ({}, None, []),
        ({"valid_to": DAY}, None, []),
        ({"valid_from": DAY}, None, []),
        ({"valid_to": DAY - timedelta(days=1)}, None, ["certificate_ended"]),
        ({"valid_from": DAY + timedelta(days=1)}, None, ["certificate_not_begun"]),
        ({"jurisdiction": "US-IL"}, None, ["certificate_elsewhere"]),
        ({"jurisdiction": "us-ia"}, None, []),
        ({}, "general", []),
        ({}, "aerial", ["certificate_category"]),
        ({"categories": frozenset({"general", "aerial"})}, "aerial", []),
        ({"suspensions": (Suspension(from_on=DAY),)}, None, ["certificate_suspended"]),
        ({"suspensions": (Suspension(from_on=date(2026, 5, 1), lifted_on=DAY),)}, None, []),
        ({"suspensions": (Suspension(from_on=DAY + timedelta(days=1)),)}, None, []),
        (
            {"valid_to": date(2026, 5, 1), "jurisdiction": "US-IL"},
            "aerial",
            ["certificate_ended", "certificate_elsewhere", "certificate_category"],
        ),
    ],
    ids=[
        "valid", "last day (inclusive)", "first day", "F1: ended the day before (40 CFR 171.1(b))", "begins tomorrow",
        "F4: another state (40 CFR 171.1(b))", "code in small letters", "has the category",
        "F3: by air without the category (40 CFR 171.105)", "by air with the category", "suspended", "lifted that day",
        "suspended later", "every reason, not the first",
    ],
)  # fmt: skip
def test_certificate_on_the_day(facts: dict[str, object], category: str | None, expected: list[str]) -> None:
    held = certificate(**facts)
    found = certificate_findings(person(held), DAY, HERE, category)
    assert codes(found) == expected
    assert certificate_on(person(held), DAY, HERE, category) == (None if expected else held)
    assert all(f.severity is Severity.REFUSE for f in found)


def test_f1_says_what_and_when() -> None:
    found = certificate_findings(person(certificate(valid_to=date(2026, 5, 31))), DAY, HERE)
    assert [f.sentence for f in found] == [
        "Certificate P-100 of Ada Field ended on Sun, May 31, 2026, before Mon, Jun 1, 2026."
    ]


def test_no_certificate_at_all() -> None:
    assert codes(certificate_findings(person(), DAY, HERE)) == ["certificate_missing"]


def test_a_farm_without_a_jurisdiction_has_nobody_certified() -> None:
    assert codes(certificate_findings(person(certificate(jurisdiction="")), DAY, "")) == ["certificate_elsewhere"]


def test_one_good_certificate_is_enough_and_the_longest_is_shown() -> None:
    old, short, long = (
        certificate(number="A", valid_to=date(2020, 1, 1)),
        certificate(number="B", valid_to=date(2026, 7, 1)),
        certificate(number="C", valid_to=date(2028, 7, 1)),
    )
    assert certificate_findings(person(old, short, long), DAY, HERE) == []
    assert certificate_on(person(old, short, long), DAY, HERE) == long


def test_f2_judged_on_the_day_of_application_and_noted_when_ended_at_signing() -> None:
    held = person(certificate(valid_to=date(2026, 6, 10)))
    found = signing_findings(held, applied_on=DAY, signed_on=date(2026, 6, 11), jurisdiction=HERE)
    assert [(f.code, f.severity) for f in found] == [("certificate_ended_since", Severity.NOTE)]
    assert signing_findings(held, applied_on=DAY, signed_on=date(2026, 6, 10), jurisdiction=HERE) == []
    late = signing_findings(held, applied_on=date(2026, 6, 11), signed_on=date(2026, 6, 11), jurisdiction=HERE)
    assert [(f.code, f.severity) for f in late] == [("certificate_ended", Severity.REFUSE)]


# ---- training --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("trained", "months", "last"),
    [
        (date(2025, 6, 1), 12, date(2026, 6, 1)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2023, 6, 2), 36, date(2026, 6, 2)),
        (date(2025, 12, 15), 1, date(2026, 1, 15)),
    ],
)
def test_months_end_on_the_same_day_or_the_last_of_the_month(trained: date, months: int, last: date) -> None:
    assert good_through(trained, months) == last


@pytest.mark.parametrize(
    ("trained_on", "expected"),
    [
        (date(2025, 5, 31), ["training_out_of_date"]),  # F8: 12 months and 1 day, 40 CFR 170.501, no grace
        (date(2025, 6, 1), []),
        (DAY, []),
        (DAY + timedelta(days=1), ["training_missing"]),
        (None, ["training_missing"]),
    ],
)
def test_handler_training_counts_twelve_months_without_grace(trained_on: date | None, expected: list[str]) -> None:
    trained = {} if trained_on is None else {TrainingKind.HANDLER: trained_on}
    assert codes(handler_findings(person(trained=trained), DAY, HERE)) == expected


def test_a_certified_applicator_needs_no_handler_or_worker_training() -> None:
    # from memory
    held = person(certificate())
    assert handler_findings(held, DAY, HERE) == []
    assert worker_findings(held, DAY, HERE, last_restricted_on=DAY) == []
    ended = person(certificate(valid_to=date(2026, 5, 31)))
    assert codes(handler_findings(ended, DAY, HERE)) == ["training_missing"]


@pytest.mark.parametrize(
    ("treated", "expected"),
    [
        (20, ["training_out_of_date"]),
        (30, ["training_out_of_date"]),
        (31, []),
        (None, ["training_out_of_date"]),
    ],
    ids=["F9: 20 days ago", "30 days ago", "F9: 31 days ago", "not known"],
)
def test_worker_training_is_asked_for_thirty_days(treated: int | None, expected: list[str]) -> None:
    # 40 CFR 170.401; trained 13 months ago
    worker = person(trained={TrainingKind.WORKER: date(2025, 5, 1)})
    last = None if treated is None else DAY - timedelta(days=treated)
    assert codes(worker_findings(worker, DAY, HERE, last_restricted_on=last)) == expected


def test_handler_training_serves_a_worker() -> None:
    assert worker_findings(person(trained={TrainingKind.HANDLER: DAY}), DAY, HERE, last_restricted_on=DAY) == []


@pytest.mark.parametrize(
    ("topic", "trained_on", "expected"),
    [
        ("paraquat", date(2023, 6, 1), []),
        ("Paraquat", date(2023, 5, 31), ["training_out_of_date"]),
        ("fumigation", date(2026, 1, 1), ["training_missing"]),
    ],
)
def test_product_training_by_topic_and_months_of_the_label(topic: str, trained_on: date, expected: list[str]) -> None:
    # every three years for paraquat: South Carolina growers' page on paraquat
    held = person(
        certificate(), trainings=(TrainingFacts(kind=TrainingKind.PRODUCT, topic=topic, trained_on=trained_on),)
    )
    assert codes(product_findings(held, DAY, topic="paraquat", months=36)) == expected


def test_f10_respirator_needs_all_three_steps() -> None:
    # 40 CFR 170.507(b)(10)
    kinds = TrainingKind.RESPIRATOR_MEDICAL, TrainingKind.RESPIRATOR_FIT, TrainingKind.RESPIRATOR_USE
    cleared = person(trained=dict.fromkeys(kinds, date(2026, 1, 1)))
    assert respirator_findings(cleared, DAY) == []
    assert respirator_until(cleared, DAY) == date(2027, 1, 1)
    no_fit = person(trained={kinds[0]: DAY, kinds[2]: DAY})
    found = respirator_findings(no_fit, DAY)
    assert respirator_until(no_fit, DAY) is None
    assert [f.sentence for f in found] == ["Ada Field has no respirator fit training on or before Mon, Jun 1, 2026."]
    assert codes(respirator_findings(person(), DAY)) == ["training_missing"] * 3


# ---- restricted use under supervision --------------------------------------------------

PARENT = Credentials(person_id=2, name="Ben Field", certificates=(certificate(number="P-200"),))
READY = {TrainingKind.SUPERVISED_USE: date(2026, 3, 1)}
GROUND = RestrictedUse(jurisdiction=HERE, supervised_use_allowed=True)


def born(years: int) -> date:
    return date(DAY.year - years, 1, 1)


@pytest.mark.parametrize(
    ("age", "family", "use", "expected"),
    [
        (17, False, GROUND, ["too_young"]),
        (16, True, GROUND, ["young_family_member"]),
        (16, True, RestrictedUse(jurisdiction=HERE, supervised_use_allowed=True, aerial=True), ["too_young"]),
        (16, True, RestrictedUse(jurisdiction=HERE, supervised_use_allowed=True, fumigant=True), ["too_young"]),
        (15, True, GROUND, ["too_young"]),
        (18, False, GROUND, []),
        (18, False, RestrictedUse(jurisdiction=HERE, supervised_use_allowed=False), ["supervised_use_forbidden"]),
        (18, False, RestrictedUse(jurisdiction=HERE), ["supervised_use_unknown"]),
        (None, True, GROUND, ["age_unknown"]),
    ],
    ids=[
        "F5: 17, not family", "F6: 16 under a certified parent", "F7: by air", "F7: fumigant", "15", "18",
        "label: certified only", "label does not say", "age not recorded",
    ],
)  # fmt: skip
def test_under_supervision(age: int | None, family: bool, use: RestrictedUse, expected: list[str]) -> None:
    # ages: 40 CFR 171.201; the family exception: same section
    operator = person(trained=READY, born_on=None if age is None else born(age))
    found = restricted_use_findings(operator, DAY, use, supervisor=PARENT, same_family=family)
    assert codes(found) == expected


def test_supervision_needs_a_certified_supervisor_and_training_of_the_year() -> None:
    operator = person(trained={TrainingKind.SUPERVISED_USE: date(2025, 5, 1)}, born_on=born(30))
    uncertified = Credentials(person_id=3, name="Cy Lane")
    found = restricted_use_findings(operator, DAY, GROUND, supervisor=uncertified)
    assert codes(found) == ["certificate_missing", "training_out_of_date"]
    assert "Cy Lane" in found[0].sentence
    handler = person(trained={TrainingKind.HANDLER: DAY}, born_on=born(30))
    assert restricted_use_findings(handler, DAY, GROUND, supervisor=PARENT) == []


def test_certified_operator_needs_no_supervisor_and_uncertified_needs_one() -> None:
    assert restricted_use_findings(person(certificate()), DAY, GROUND) == []
    assert codes(restricted_use_findings(person(trained=READY, born_on=born(40)), DAY, GROUND)) == [
        "certificate_missing"
    ]


def test_birthday_on_leap_day() -> None:
    assert [age_on(date(2008, 2, 29), d) for d in (date(2026, 2, 28), date(2026, 3, 1))] == [17, 18]


# ---- running out -----------------------------------------------------------------------


def test_days_left_counts_the_last_day_as_zero() -> None:
    assert [days_left(DAY, DAY + timedelta(days=n)) for n in (-90, -1, 0, 1)] == [90, 1, 0, -1]


@pytest.mark.parametrize(
    ("left", "mark"),
    [(91, None), (90, 90), (31, 90), (30, 30), (8, 30), (7, 7), (1, 7), (0, 0), (-7, 0), (-8, None)],
)
def test_reminder_stage(left: int, mark: int | None) -> None:
    assert reminder_mark(left) == mark
