"""Certificate, supervision, training, respirator on the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from apps.products.rules import Method
from apps.spraying.rules import CertificateFact, FarmPolicy, TrainingFact, Worker
from farmops.errors import Severity

from .mixes import PLACE, changed, facts, line, notes, reasons, relabelled

RUP, GENERAL = ("I1", "3.84"), ("F1", 3)


def card(**changes):
    ready = {"number": "7", "jurisdiction": PLACE, "valid_from": date(2024, 1, 1), "valid_to": date(2027, 12, 31)}
    return CertificateFact(**{**ready, **changes})


def person(*cards, trained=date(2026, 1, 10), **more):
    trainings = (TrainingFact(topic="handler", done_on=trained),) if trained else ()
    return Worker(name="Ana", certificates=cards, **{"trainings": trainings, "born_on": date(1990, 1, 1), **more})


CARDS = [
    # the spray is on 4 Aug 2026; 40 CFR 171.1(b)
    ("valid", card(), []),
    ("last_day", card(valid_to=date(2026, 8, 4)), []),
    ("expired_the_day_before", card(valid_to=date(2026, 8, 3)), ["rup_cert"]),
    ("first_day", card(valid_from=date(2026, 8, 4)), []),
    ("not_yet", card(valid_from=date(2026, 8, 5)), ["rup_cert"]),
    ("of_another_state", card(jurisdiction="Elsewhere"), ["rup_cert"]),
    ("same_state_other_letters", card(jurisdiction="OAKHAVEN"), []),
    ("suspended", card(suspended=True), ["rup_cert"]),
]


@pytest.mark.parametrize(("certificate", "refusing"), [r[1:] for r in CARDS], ids=[r[0] for r in CARDS])
def test_restricted_use_needs_a_certificate_on_the_day(certificate, refusing):
    assert reasons(changed(facts([RUP]), applicator=person(certificate))) == (refusing, [])


def test_one_good_card_among_several_is_enough():
    cards = (card(valid_to=date(2020, 1, 1)), card(jurisdiction="Elsewhere"), card())

    assert reasons(changed(facts([RUP]), applicator=person(*cards))) == ([], [])


def test_the_day_is_the_farms_own():
    """22:30 on the last day in New York is already the next day in UTC."""
    last = person(card(valid_to=date(2026, 8, 4)))
    given = facts([RUP], start="2026-08-04T22:30", end="2026-08-04T23:30")

    assert reasons(changed(given, applicator=last)) == ([], [])


AIR = [("no_category", frozenset(), ["rup_cert"]), ("aerial", frozenset({"aerial"}), [])]


@pytest.mark.parametrize(("categories", "refusing"), [r[1:] for r in AIR], ids=[r[0] for r in AIR])
def test_by_air_the_aerial_category_is_needed(categories, refusing):
    """40 CFR 171.105."""
    given = changed(facts([RUP]), applicator=person(card(categories=categories)), method=Method.AIR)

    assert reasons(given) == (refusing, [])


BOSS = [
    ("nobody_supervises", False, None, True, ["rup_cert"], []),
    ("supervisor_named_but_not_supervising", False, card(), True, ["rup_cert"], []),
    ("certified_supervisor", True, card(), True, [], []),
    ("supervisor_expired", True, card(valid_to=date(2026, 8, 3)), True, ["rup_cert"], []),
    ("label_forbids_it", True, card(), False, ["rup_cert"], []),
    ("label_not_read_for_it", True, card(), None, [], ["rup_supervision"]),
]


@pytest.mark.parametrize(
    ("supervised", "boss", "allowed", "refusing", "asking"), [r[1:] for r in BOSS], ids=[r[0] for r in BOSS]
)
def test_supervision(supervised, boss, allowed, refusing, asking):
    """40 CFR 171.201."""
    product = relabelled("I1", "3.84", supervised_use_allowed=allowed)
    supervisor = person(boss) if boss else None
    given = changed(facts([]), lines=(product,), applicator=person(), supervisor=supervisor, supervised=supervised)

    assert reasons(given) == (refusing, asking)


AGES = [
    # born 4 Aug; the spray is on 4 Aug 2026. 40 CFR 171.201: 18, or 16 in the family, not by air
    ("eighteen_today", date(2008, 8, 4), False, Method.GROUND, [], []),
    ("eighteen_in_the_family", date(2008, 8, 4), True, Method.GROUND, [], []),
    ("eighteen_tomorrow", date(2008, 8, 5), False, Method.GROUND, ["too_young"], []),
    ("sixteen_in_the_family", date(2010, 8, 4), True, Method.GROUND, [], ["young_family"]),
    ("fifteen_in_the_family", date(2010, 8, 5), True, Method.GROUND, ["too_young"], []),
    ("sixteen_no_family", date(2010, 8, 4), False, Method.GROUND, ["too_young"], []),
    ("nobody_knows", None, False, Method.GROUND, ["age_unknown"], []),
]


@pytest.mark.parametrize(
    ("born_on", "family", "method", "refusing", "asking"), [r[1:] for r in AGES], ids=[r[0] for r in AGES]
)
def test_age_under_supervision(born_on, family, method, refusing, asking):
    given = changed(
        facts([RUP]),
        applicator=person(born_on=born_on),
        supervisor=person(card()),
        supervised=True,
        same_family=family,
        method=method,
    )

    assert reasons(given) == (refusing, asking)


def test_a_sixteen_year_old_does_not_spray_by_air():
    given = changed(
        facts([RUP]),
        applicator=person(born_on=date(2010, 8, 4)),
        supervisor=person(card(categories=frozenset({"aerial"}))),
        supervised=True,
        same_family=True,
        method=Method.AIR,
    )

    assert reasons(given) == (["too_young"], [])


COVER = {"crop": "fallow_cover", "harvest": None}
PARAQUAT = [
    ("to_the_day", date(2023, 8, 4), []),
    ("a_day_too_old", date(2023, 8, 3), ["rup_training"]),
    ("after_the_spray", date(2026, 8, 5), ["rup_training"]),
    ("none", None, ["rup_training"]),
]


@pytest.mark.parametrize(("trained", "refusing"), [r[1:] for r in PARAQUAT], ids=[r[0] for r in PARAQUAT])
def test_training_that_the_label_asks_for(trained, refusing):
    """36 months, the last day counted in."""
    trainings = (TrainingFact(topic="paraquat", done_on=trained),) if trained else ()
    worker = Worker(name="Ana", certificates=(card(),), trainings=trainings)

    assert reasons(changed(facts([("H2", 3)], **COVER), applicator=worker)) == (refusing, [])


HANDLER = [
    # 40 CFR 170.501: within 12 months
    ("twelve_months", person(trained=date(2025, 8, 4)), []),
    ("twelve_months_and_a_day", person(trained=date(2025, 8, 3)), ["handler_training"]),
    ("none", person(trained=None), ["handler_training"]),
    ("certified_needs_none", person(card(), trained=None), []),
    ("expired_card_does_not_help", person(card(valid_to=date(2026, 8, 3)), trained=None), ["handler_training"]),
    ("owners_family", person(trained=None, training_exempt=True), []),
]


@pytest.mark.parametrize(("worker", "refusing"), [r[1:] for r in HANDLER], ids=[r[0] for r in HANDLER])
def test_handlers_are_trained_every_year(worker, refusing):
    assert reasons(changed(facts([GENERAL]), applicator=worker)) == (refusing, [])


def test_a_nutrient_is_no_pesticide():
    given = changed(facts([("N1", 3)]), applicator=person(trained=None))

    assert (reasons(given), "certificate_missing" in notes(given)) == (([], []), False)


@pytest.mark.parametrize("severity", list(Severity))
def test_general_use_without_a_certificate_is_the_farms_choice(severity):
    policy = FarmPolicy(general_use_certificate=severity)
    given = changed(facts([GENERAL]), applicator=person(), policy=policy)
    refused, asked = reasons(given)
    where = {Severity.REFUSE: refused, Severity.JUSTIFY: asked, Severity.NOTE: notes(given)}

    assert [s for s, found in where.items() if "certificate_missing" in found] == [severity]


def test_nobody_named():
    planning, starting = (
        changed(facts([RUP]), applicator=None),
        changed(facts([GENERAL]), applicator=None, at_start=True),
    )

    assert (reasons(planning)[0], "applicator_missing" in notes(planning)) == (["rup_cert"], True)
    assert reasons(starting)[0] == ["applicator_missing", "data_missing_wind"]


RESPIRATOR = [
    ("nothing_on_record", None, ["respirator"]),
    ("cleared", date(2026, 8, 4), []),
    ("run_out", date(2026, 8, 3), ["respirator"]),
]


@pytest.mark.parametrize(("until", "refusing"), [r[1:] for r in RESPIRATOR], ids=[r[0] for r in RESPIRATOR])
def test_a_respirator_on_the_label(until, refusing):
    """40 CFR 170.507(b)(10): no fit test on record is no fit test."""
    mask = relabelled("F1", 3, ppe={"mixing": ["NIOSH-approved respirator"]})
    worker = replace(person(card()), respirator_until=until)

    assert reasons(changed(facts([]), lines=(mask,), applicator=worker)) == (refusing, [])
    assert reasons(changed(facts([]), lines=(line(*GENERAL),), applicator=worker)) == ([], [])


GEAR = [
    ({"mixing": [], "applying": ["Filtering facepiece (TC-84A)"]}, True),
    ({"mixing": ["N95 mask"], "applying": []}, True),
    ({"mixing": ["SCBA"], "applying": []}, True),
    ({"mixing": ["Chemical-resistant gloves"], "applying": ["Long-sleeved shirt"]}, False),
]


@pytest.mark.parametrize(("ppe", "asked"), GEAR)
def test_a_respirator_in_other_words(ppe, asked):
    """Words that labels use for one; from memory."""
    given = changed(facts([]), lines=(relabelled("F1", 3, ppe=ppe),), applicator=person(card()))

    assert reasons(given)[0] == (["respirator"] if asked else [])
