"""Certificates and trainings on the farm: services, facts, cards, reminders."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from apps.audit.models import AuditEvent
from apps.people.models import Membership
from apps.people.rules import Role
from apps.training import queries, services
from apps.training.models import Certificate, TrainingRecord
from apps.training.rules import Suspension as SuspensionFacts
from apps.training.rules import TrainingKind, certificate_findings, certificate_on, handler_findings
from farmops.errors import BadInput, NotYourRole, Refused, Unknown
from tests.conftest import place
from tests.factories.training import CertificateFactory, SuspensionFactory, TrainingFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)
TODAY = date(2026, 6, 1)
PAPER = {
    "number": " P-77 ",
    "jurisdiction": "in",
    "kind": "private",
    "categories": ["General", "Seed Treatment", "general"],
    "valid_from": date(2026, 1, 1),
    "valid_to": date(2026, 12, 31),
}


def on(cast, member, day=TODAY):
    return certificate_on(queries.credentials(cast.farm, [member.person_id])[member.person_id], day, "IN")


def test_a_recorded_certificate_counts_through_its_last_day(cast):
    row = services.record_certificate(member=cast.manager, person_id=cast.applicator.person_id, now=NOW, **PAPER)
    assert (row.number, row.jurisdiction, row.categories) == ("P-77", "IN", ["general", "seed_treatment"])
    assert on(cast, cast.applicator).id == row.pk
    assert on(cast, cast.applicator, date(2026, 12, 31)).id == row.pk
    assert on(cast, cast.applicator, date(2027, 1, 1)) is None
    event = AuditEvent.objects.get()
    assert (event.verb, event.subject_name, event.after["valid_to"]) == (
        "recorded", "certificate P-77 of Luis Mora", "2026-12-31",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"valid_to": date(2025, 12, 31)}, "valid_to"),
        ({"valid_to": date(2206, 12, 31)}, "valid_to"),
        ({"categories": ["a/b"]}, "categories"),
    ],
)
def test_what_cannot_be_is_named(cast, values, field):
    with pytest.raises(BadInput) as caught:
        services.record_certificate(
            member=cast.manager, person_id=cast.applicator.person_id, now=NOW, **{**PAPER, **values}
        )
    assert list(caught.value.errors) == [field]
    assert Certificate.rows.count() == 0


def test_only_for_somebody_who_works_here_and_only_once(cast):
    for stranger in (cast.neighbour.person_id, cast.outsider.pk):
        with pytest.raises(BadInput) as caught:
            services.record_certificate(member=cast.manager, person_id=stranger, now=NOW, **PAPER)
        assert caught.value.errors == {"person_id": ["Nobody with that number works on this farm."]}
    services.record_certificate(member=cast.manager, person_id=cast.applicator.person_id, now=NOW, **PAPER)
    with pytest.raises(BadInput) as caught:
        services.record_certificate(member=cast.manager, person_id=cast.applicator.person_id, now=NOW, **PAPER)
    assert caught.value.errors == {"number": ["This certificate is in the book already."]}


def test_only_managers_record_and_suspend(cast):
    row = CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id)
    with pytest.raises(NotYourRole) as caught:
        services.suspend_certificate(member=cast.applicator, certificate_id=row.pk, from_on=TODAY, reason="x", now=NOW)
    assert str(caught.value) == "This needs one of: manager."
    with pytest.raises(NotYourRole):
        services.record_certificate(member=cast.applicator, person_id=cast.applicator.person_id, now=NOW, **PAPER)
    with pytest.raises(Unknown):
        services.suspend_certificate(member=cast.neighbour, certificate_id=row.pk, from_on=TODAY, reason="x", now=NOW)


def test_suspended_until_lifted(cast):
    row = CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id)
    act = {"member": cast.manager, "certificate_id": row.pk, "now": NOW}
    services.suspend_certificate(from_on=TODAY, reason="Inquiry", **act)
    assert on(cast, cast.applicator, TODAY - timedelta(days=1)).id == row.pk
    assert on(cast, cast.applicator) is None
    with pytest.raises(Refused) as caught:
        services.suspend_certificate(from_on=TODAY, reason="again", **act)
    assert [f.code for f in caught.value.findings] == ["suspended_already"]
    with pytest.raises(BadInput) as early:
        services.lift_suspension(lifted_on=TODAY - timedelta(days=1), **act)
    assert list(early.value.errors) == ["lifted_on"]
    services.lift_suspension(lifted_on=TODAY + timedelta(days=3), **act)
    facts = queries.certificate_facts(queries.certificate(cast.farm, row.pk))
    assert facts.suspensions == (SuspensionFacts(from_on=TODAY, lifted_on=TODAY + timedelta(days=3)),)
    assert on(cast, cast.applicator, TODAY + timedelta(days=2)) is None
    assert on(cast, cast.applicator, TODAY + timedelta(days=3)).id == row.pk
    with pytest.raises(Refused) as none:
        services.lift_suspension(lifted_on=TODAY, **act)
    assert [f.code for f in none.value.findings] == ["not_suspended"]
    assert list(AuditEvent.objects.order_by("id").values_list("verb", flat=True)) == ["suspended", "lifted"]


def test_training_is_recorded_and_struck_but_stays(cast):
    act = {"member": cast.manager, "person_id": cast.applicator.person_id, "now": NOW}
    row = services.record_training(kind="handler", trained_on=TODAY, trainer="Extension office", **act)
    known = queries.credentials(cast.farm, [cast.applicator.person_id])[cast.applicator.person_id]
    assert handler_findings(known, TODAY, "IN") == []
    services.strike_training(member=cast.manager, training_id=row.pk, because="wrong person", now=NOW)
    known = queries.credentials(cast.farm, [cast.applicator.person_id])[cast.applicator.person_id]
    assert [f.code for f in handler_findings(known, TODAY, "IN")] == ["training_missing"]
    row.refresh_from_db()
    assert (row.struck_because, row.struck_by_id, TrainingRecord.rows.count()) == (
        "wrong person", cast.manager.person_id, 1,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"kind": "product"}, "topic"),
        ({"kind": "handler", "topic": "paraquat"}, "topic"),
        ({"kind": "handler", "trained_on": date(2026, 6, 2)}, "trained_on"),
        ({"kind": "handler", "person_id": 987654}, "person_id"),
    ],
)
def test_bad_training_names_the_field(cast, values, field):
    asked = {"person_id": cast.applicator.person_id, "trained_on": TODAY, **values}
    with pytest.raises(BadInput) as caught:
        services.record_training(member=cast.manager, now=NOW, **asked)
    assert (list(caught.value.errors), TrainingRecord.rows.count()) == ([field], 0)


@pytest.mark.parametrize(
    ("make", "constraint"),
    [
        (lambda farm: CertificateFactory(farm=farm, kind="royal"), "certificate_kind_known"),
        (lambda farm: CertificateFactory(farm=farm, valid_to=date(2020, 1, 1)), "certificate_ends_after_it_begins"),
        (lambda farm: TrainingFactory(farm=farm, kind="product"), "training_topic_for_products_only"),
        (lambda farm: TrainingFactory(farm=farm, topic="x"), "training_topic_for_products_only"),
        (lambda farm: TrainingFactory(farm=farm, kind="dance"), "training_kind_known"),
        (
            lambda farm: SuspensionFactory(certificate__farm=farm, lifted_on=date(2026, 4, 1)),
            "suspension_lifted_after_it_began",
        ),
    ],
    ids=["kind", "ends first", "no topic", "idle topic", "training kind", "lifted before"],
)
def test_the_database_holds_it_too(cast, make, constraint):
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        make(cast.farm)
    assert constraint in str(caught.value)


def test_one_open_suspension_at_a_time(cast):
    row = CertificateFactory(farm=cast.farm)
    SuspensionFactory(certificate=row, lifted_on=date(2026, 5, 2), lifted_by=row.person)
    SuspensionFactory(certificate=row)
    with pytest.raises(IntegrityError), transaction.atomic():
        SuspensionFactory(certificate=row)


def test_credentials_are_of_this_farm_alone_and_cost_the_same_for_many(cast, django_assert_num_queries):
    """The same person works on two farms: papers of one are not seen on the other."""
    Membership.rows.create(farm=cast.other_farm, person_id=cast.applicator.person_id, is_applicator=True)
    SuspensionFactory(certificate=CertificateFactory(farm=cast.other_farm, person_id=cast.applicator.person_id))
    TrainingFactory(farm=cast.other_farm, person_id=cast.applicator.person_id)
    mine = CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id)
    asked = [cast.applicator.person_id, cast.staff.person_id, cast.outsider.pk]
    with django_assert_num_queries(4):
        found = queries.credentials(cast.farm, asked)
    assert sorted(found) == sorted(asked[:2])
    assert [c.id for c in found[cast.applicator.person_id].certificates] == [mine.pk]
    assert found[cast.applicator.person_id].trainings == ()
    assert codes(found[cast.staff.person_id]) == ["certificate_missing"]
    for n in range(12):
        CertificateFactory(farm=cast.farm, person_id=place(cast.farm, Role.STAFF, f"W {n}", f"w-{n}").person_id)
    with django_assert_num_queries(5):
        assert len(queries.cards(cast.farm, TODAY)) == 15


def codes(known):
    return [f.code for f in certificate_findings(known, TODAY, "IN")]


def test_card_shows_state_and_days_left(cast):
    person = cast.applicator.person_id
    CertificateFactory(farm=cast.farm, person_id=person, number="NOW", valid_to=date(2026, 6, 11))
    CertificateFactory(
        farm=cast.farm, person_id=person, number="OLD", valid_from=date(2020, 1, 1), valid_to=date(2024, 1, 1)
    )
    CertificateFactory(
        farm=cast.farm, person_id=person, number="NEXT", valid_from=date(2026, 6, 12), valid_to=date(2031, 6, 11)
    )
    SuspensionFactory(
        certificate=CertificateFactory(farm=cast.farm, person_id=person, number="HELD", valid_to=date(2028, 1, 1))
    )
    TrainingFactory(farm=cast.farm, person_id=person, trained_on=date(2025, 6, 1))
    TrainingFactory(farm=cast.farm, person_id=person, trained_on=date(2024, 6, 1))
    TrainingFactory(farm=cast.farm, person_id=person, kind="product", topic="paraquat")
    card = queries.card(cast.farm, person, TODAY)
    assert card.certified
    assert [(c.row.number, c.state, c.days_left) for c in card.certificates] == [
        ("NEXT", "not_begun", 1836),
        ("HELD", "suspended", 579),
        ("NOW", "valid", 10),
        ("OLD", "ended", -882),
    ]
    assert [(t.facts.kind, t.name, t.until, t.days_left) for t in card.trainings] == [
        (TrainingKind.HANDLER, "handler", TODAY, 0),
        (TrainingKind.PRODUCT, "paraquat", None, None),
    ]


def test_no_card_of_a_stranger(cast):
    with pytest.raises(Unknown):
        queries.card(cast.farm, cast.neighbour.person_id, TODAY)


@pytest.mark.parametrize(
    ("days", "mark", "kind"),
    [
        (91, None, None),
        (90, 90, "certificate_ending"),
        (30, 30, "certificate_ending"),
        (29, 30, "certificate_ending"),
        (7, 7, "certificate_ends_soon"),
        (0, 0, "certificate_ends_soon"),
        (-8, None, None),
    ],
)
def test_certificate_reminders_at_ninety_thirty_seven_and_no_days(cast, days, mark, kind):
    last = TODAY + timedelta(days=days)
    CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id, number="P-1", valid_to=last)
    found = queries.due(cast.farm, NOW)
    occasion = f"{mark} days before {last.isoformat()}"
    assert [(d.kind, d.occasion) for d in found] == ([] if mark is None else [(kind, occasion)])
    for d in found:
        assert list(d.person_ids) == sorted([cast.applicator.person_id, cast.manager.person_id])
        assert d.path == f"/f/alder-bend/cards/{cast.applicator.person_id}/"
        assert d.template.format(**d.numbers) == f"Certificate P-1 of Luis Mora is valid through {last}."


def test_no_reminder_once_renewed_or_gone(cast):
    soon = {"farm": cast.farm, "valid_to": TODAY + timedelta(days=5)}
    person = cast.applicator.person_id
    CertificateFactory(person_id=person, **soon)
    CertificateFactory(farm=cast.farm, person_id=person, valid_to=date(2030, 1, 1))
    left = place(cast.farm, Role.APPLICATOR, "Gone Lane", "gone")
    CertificateFactory(person_id=left.person_id, **soon)
    Membership.rows.filter(person_id=left.person_id).update(active=False)
    assert queries.due(cast.farm, NOW) == []


def test_training_reminders_go_to_those_who_need_the_training(cast):
    TrainingFactory(farm=cast.farm, person_id=cast.staff.person_id, kind="worker", trained_on=date(2025, 6, 8))
    TrainingFactory(farm=cast.farm, person_id=cast.applicator.person_id, trained_on=date(2025, 6, 8))
    TrainingFactory(
        farm=cast.farm, person_id=cast.applicator.person_id, kind="respirator_fit", trained_on=date(2025, 6, 30)
    )
    CertificateFactory(farm=cast.farm, person_id=cast.applicator.person_id)
    found = {(d.kind, d.occasion, str(d.numbers["name"])) for d in queries.due(cast.farm, NOW)}
    assert found == {
        ("training_ends_soon", "7 days before 2026-06-08", "Ana Ruiz"),
        ("training_ending", "30 days before 2026-06-30", "Luis Mora"),
    }
    assert {d.at for d in queries.due(cast.farm, NOW)} == {date(2026, 6, 8), date(2026, 6, 30)}


def test_a_crew_that_was_trained_together_is_one_notice_to_the_managers_and_one_to_each_of_them(cast):
    others = [place(cast.farm, Role.STAFF, name, name.lower()) for name in ("Bea", "Carl")]
    for member in (cast.staff, *others):
        TrainingFactory(farm=cast.farm, person_id=member.person_id, kind="worker", trained_on=date(2025, 6, 8))
    found = queries.due(cast.farm, NOW)
    to_managers = [d for d in found if d.person_ids == [cast.manager.person_id]]
    assert [str(d.numbers["name"]) for d in to_managers] == ["Ana Ruiz, Bea, Carl"]
    own = sorted((list(d.person_ids), str(d.numbers["name"])) for d in found if d not in to_managers)
    assert own == sorted(([m.person_id], m.name) for m in (cast.staff, *others))
