"""Who may do what: the answers stand in a table, and no answer says yes where a gate says no."""

from __future__ import annotations

import os
from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apps.products.rules import Method
from apps.spraying.rules import people as gate
from apps.spraying.workers import worker_on
from apps.training.rules import (
    CertificateFacts,
    CertificateKind,
    Credentials,
    Suspension,
    TrainingFacts,
    TrainingKind,
    certificate_on,
    training_findings,
)
from apps.training.today.rules import Deed, Word, certified_people, leaves
from tests.factories.training import CertificateFactory, TrainingFactory

DAY = date(2026, 6, 1)
BORN = date(1990, 5, 31)
K = TrainingKind


def card(*, valid_to=date(2026, 12, 31), place="IN", suspensions=()) -> CertificateFacts:
    return CertificateFacts(
        number="P-1",
        jurisdiction=place,
        kind=CertificateKind.PRIVATE,
        categories=frozenset(),
        valid_from=date(2024, 1, 1),
        valid_to=valid_to,
        suspensions=suspensions,
    )


def person(name="Ana", *, certificates=(), trained=(), born_on=BORN, family=False, person_id=1) -> Credentials:
    return Credentials(
        person_id=person_id,
        name=name,
        certificates=tuple(certificates),
        trainings=tuple(TrainingFacts(kind=kind, trained_on=on) for kind, on in trained),
        born_on=born_on,
        family=family,
    )


BOSS = person("Luis", certificates=[card()], person_id=2)
FAMILY_BOSS = person("Tia", certificates=[card()], family=True, person_id=3)


def answer(who: Credentials, deed: Deed, *, applies=True, certified=(BOSS,)):
    return next(x for x in leaves(who, DAY, "IN", applies=applies, certified=certified) if x.deed is deed)


TRAINED = [(K.HANDLER, date(2026, 3, 2))]
WORKER = [(K.WORKER, date(2025, 6, 1))]
LUNG = [
    (K.RESPIRATOR_MEDICAL, date(2020, 1, 1)),
    (K.RESPIRATOR_FIT, date(2026, 2, 1)),
    (K.RESPIRATOR_USE, date(2025, 7, 1)),
]
TABLE = [
    ("certified", {"certificates": [card()]}, Deed.SPRAY_ALONE, Word.YES, date(2026, 12, 31)),
    ("last day", {"certificates": [card(valid_to=DAY)]}, Deed.SPRAY_ALONE, Word.YES, DAY),
    ("ended", {"certificates": [card(valid_to=date(2026, 5, 31))]}, Deed.SPRAY_ALONE, Word.NO, None),
    ("elsewhere", {"certificates": [card(place="OH")]}, Deed.SPRAY_ALONE, Word.NO, None),
    (
        "suspension known ahead",
        {"certificates": [card(suspensions=(Suspension(from_on=date(2026, 7, 1)),))]},
        Deed.SPRAY_ALONE,
        Word.YES,
        date(2026, 6, 30),
    ),
    (
        "suspended",
        {"certificates": [card(suspensions=(Suspension(from_on=date(2026, 5, 1)),))]},
        Deed.SPRAY_ALONE,
        Word.NO,
        None,
    ),
    ("supervised", {"trained": TRAINED}, Deed.SPRAY_SUPERVISED, Word.YES, date(2027, 3, 2)),
    ("untrained", {}, Deed.SPRAY_SUPERVISED, Word.NO, None),
    ("age unknown", {"trained": TRAINED, "born_on": None}, Deed.SPRAY_SUPERVISED, Word.UNKNOWN, None),
    ("seventeen", {"trained": TRAINED, "born_on": date(2008, 6, 2)}, Deed.SPRAY_SUPERVISED, Word.NO, None),
    (
        "eighteen today",
        {"trained": TRAINED, "born_on": date(2008, 6, 1)},
        Deed.SPRAY_SUPERVISED,
        Word.YES,
        date(2027, 3, 2),
    ),
    ("handler", {"trained": TRAINED}, Deed.MIX, Word.YES, date(2027, 3, 2)),
    ("handler a year ago", {"trained": [(K.HANDLER, date(2025, 6, 1))]}, Deed.MIX, Word.YES, DAY),
    ("no grace", {"trained": [(K.HANDLER, date(2025, 5, 31))]}, Deed.MIX, Word.NO, None),
    ("handler, age unknown", {"trained": TRAINED, "born_on": None}, Deed.MIX, Word.UNKNOWN, None),
    ("handler of seventeen", {"trained": TRAINED, "born_on": date(2009, 1, 1)}, Deed.MIX, Word.NO, None),
    ("family", {"family": True, "born_on": None}, Deed.MIX, Word.YES, None),
    ("respirator", {"trained": LUNG}, Deed.WEAR_RESPIRATOR, Word.YES, date(2026, 7, 1)),
    ("one step missing", {"trained": LUNG[:2]}, Deed.WEAR_RESPIRATOR, Word.NO, None),
    ("family has no lungs of its own", {"family": True}, Deed.WEAR_RESPIRATOR, Word.NO, None),
    ("worker", {"trained": WORKER}, Deed.WORK_AFTER, Word.YES, DAY),
    ("worker without training", {}, Deed.WORK_AFTER, Word.NO, None),
    ("early", {"trained": WORKER}, Deed.ENTER_EARLY, Word.YES, DAY),
    ("early, age unknown", {"trained": WORKER, "born_on": None}, Deed.ENTER_EARLY, Word.UNKNOWN, None),
    ("early and too young", {"trained": WORKER, "born_on": date(2010, 1, 1)}, Deed.ENTER_EARLY, Word.NO, None),
]


@pytest.mark.parametrize(("papers", "deed", "word", "until"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE])
def test_the_answer_and_its_last_day(papers, deed, word, until):
    found = answer(person(**papers), deed)
    assert (found.word, found.until) == (word, until)
    if word is not Word.YES:
        assert found.reasons


def test_who_is_no_applicator_neither_signs_nor_sprays():
    who = person(certificates=[card()])
    for deed in (Deed.SIGN, Deed.SPRAY_ALONE, Deed.SPRAY_SUPERVISED):
        found = answer(who, deed, applies=False)
        assert (found.word, found.reasons[0].code) == (Word.NO, "not_applicator")


def test_the_supervisors_are_named_and_family_lowers_the_age_only_under_family():
    """40 CFR 171.201: 16 under a certified supervisor of the immediate family."""
    young = person(trained=TRAINED, born_on=date(2009, 1, 1), family=True)
    found = answer(young, Deed.SPRAY_SUPERVISED, certified=(BOSS, FAMILY_BOSS))
    assert (found.word, found.under) == (Word.YES, ("Tia",))
    assert answer(young, Deed.SPRAY_SUPERVISED, certified=(BOSS,)).word is Word.NO
    assert answer(person(trained=TRAINED), Deed.SPRAY_SUPERVISED, certified=()).reasons[0].code == "no_supervisor"


# ---- the page agrees with the gate of spray jobs ---------------------------------------

# The machine may be busy; NIGHTLY=1 looks harder.
QUICK = settings(
    max_examples=1000 if os.environ.get("NIGHTLY") else 60, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
days = st.dates(date(2024, 12, 1), date(2026, 12, 31))
certificates = st.builds(
    lambda begins, length, place, suspended: CertificateFacts(
        number="P-9",
        jurisdiction=place,
        kind=CertificateKind.PRIVATE,
        categories=frozenset(),
        valid_from=begins,
        valid_to=begins + timedelta(days=length),
        suspensions=(Suspension(from_on=suspended),) if suspended else (),
    ),
    days,
    st.integers(0, 900),
    st.sampled_from(["IN", "in", "OH", ""]),
    st.none() | days,
)
trainings = st.builds(
    lambda kind, on: TrainingFacts(kind=kind, trained_on=on, topic="paraquat" if kind is K.PRODUCT else ""),
    st.sampled_from(list(K)),
    days,
)
papers = st.builds(
    lambda held, trained: Credentials(person_id=1, name="Ana", certificates=tuple(held), trainings=tuple(trained)),
    st.lists(certificates, max_size=3),
    st.lists(trainings, max_size=6),
)


@QUICK
@given(known=papers, day=days)
def test_the_gate_of_spray_jobs_judges_papers_by_the_same_rules(known, day):
    worker = worker_on(known, day)
    facts = SimpleNamespace(
        jurisdiction="IN", on_date=day, method=Method.GROUND, policy=SimpleNamespace(method_categories={}), judged=()
    )
    assert gate.certified_on(worker, facts) == (certificate_on(known, day, "IN") is not None)
    handler = not training_findings(known, K.HANDLER, day)
    assert gate._trained(worker, "handler", gate.HANDLER_MONTHS, day) == handler
    alone = next(x for x in leaves(known, day, "IN", applies=True) if x.deed is Deed.SPRAY_ALONE)
    assert (alone.word is Word.YES) == gate.certified_on(worker, facts)
    lungs = next(x for x in leaves(known, day, "IN", applies=True) if x.deed is Deed.WEAR_RESPIRATOR)
    assert (lungs.word is Word.YES) == (worker.respirator_until is not None and worker.respirator_until >= day)


@QUICK
@given(known=papers, day=days)
def test_a_yes_holds_through_its_last_day_and_not_a_day_longer(known, day):
    for found in leaves(known, day, "IN", applies=True):
        if found.word is not Word.YES or found.until is None:
            continue
        assert found.until >= day
        last = next(x for x in leaves(known, found.until, "IN", applies=True) if x.deed is found.deed)
        assert last.word is Word.YES, found


def test_who_can_supervise_is_who_is_certified_that_day():
    ended = person("Zed", certificates=[card(valid_to=date(2026, 5, 31))], person_id=9)
    assert [c.name for c in certified_people([FAMILY_BOSS, ended, BOSS, person()], DAY, "IN")] == ["Luis", "Tia"]


# ---- doors -----------------------------------------------------------------------------


@pytest.fixture
def crew(cast, june):
    CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id, valid_to=date(2026, 12, 31))
    TrainingFactory(farm=cast.farm, person_id=cast.staff.person_id, kind="worker", trained_on=date(2025, 6, 1))
    return cast


@pytest.mark.django_db
def test_the_interface_tells_each_person_each_deed(crew, api):
    answer = api(crew.applicator).get("/api/v1/farms/alder-bend/who-may/")
    found = {p["name"]: {d["deed"]: (d["may"], d["until"]) for d in p["deeds"]} for p in answer.json()}
    assert found["Luis Mora"]["spray_alone"] == ("yes", "2026-12-31")
    assert found["Ana Ruiz"]["work_after"] == ("yes", "2026-06-01")
    assert found["Ana Ruiz"]["enter_early"] == ("unknown", None)
    tomorrow = api(crew.applicator).get("/api/v1/farms/alder-bend/who-may/?on=2026-06-02").json()
    ana = next(p for p in tomorrow if p["name"] == "Ana Ruiz")
    late = next(d for d in ana["deeds"] if d["deed"] == "work_after")
    assert (late["may"], [r["sentence"] for r in late["reasons"]]) == (
        "no",
        ["The worker training of Ana Ruiz counted through Mon, Jun 1, 2026; it is out of date on Tue, Jun 2, 2026."],
    )


@pytest.mark.django_db
def test_a_day_that_is_none_is_named(crew, api):
    answer = api(crew.manager).get("/api/v1/farms/alder-bend/who-may/?on=soon")
    assert (answer.status_code, answer.json()["errors"]) == (400, {"on": ["Must be a day like 2026-06-03."]})


@pytest.mark.django_db
def test_the_page_costs_the_same_for_three_people_and_nine(crew, browser_client):
    from tests.factories.people import MembershipFactory

    client = browser_client(crew.manager)
    client.get("/f/alder-bend/cards/today/")
    with CaptureQueriesContext(connection) as few:
        html = client.get("/f/alder-bend/cards/today/").content.decode()
    assert html.count("<tbody>") == len(Deed)
    assert html.count("Luis Mora</a>") == len(Deed)
    for _ in range(6):
        MembershipFactory(farm=crew.farm)
    with CaptureQueriesContext(connection) as many:
        client.get("/f/alder-bend/cards/today/")
    assert len(many) == len(few)
