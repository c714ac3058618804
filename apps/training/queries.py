"""Reading certificates and trainings: rows to facts, everybody's card, and what runs out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import QuerySet

from apps.people import queries as people
from apps.people.models import Farm, Membership
from apps.people.queries import one
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, Slot, Words, register, rolled
from apps.reminders.rules.timing import next_midnight
from apps.training.credits.queries import renewals
from apps.training.credits.rules import Toward
from apps.training.models import Certificate, TrainingRecord
from apps.training.rules import (
    MONTHS,
    TRAINING_NAMES,
    CertificateFacts,
    CertificateKind,
    Credentials,
    Suspension,
    TrainingFacts,
    TrainingKind,
    certificate_on,
    days_left,
    good_through,
    reminder_mark,
)
from farmops import clock
from farmops.errors import Unknown, gettext_noop

CERTIFICATE_ENDING = register("certificate_ending", Level.INFORMATION)
CERTIFICATE_ENDS_SOON = register("certificate_ends_soon", Level.DO_TODAY)
TRAINING_ENDING = register("training_ending", Level.INFORMATION)
TRAINING_ENDS_SOON = register("training_ends_soon", Level.DO_TODAY)


def today(farm: Farm, now: datetime) -> date:
    """The farm's own calendar day."""
    return clock.to_local(now, farm.time_zone).date()


# ---- rows ------------------------------------------------------------------------------


def certificates(farm: Farm) -> QuerySet[Certificate]:
    """Every certificate of the farm with its person and suspensions, newest entry first."""
    rows = Certificate.objects.for_farm(farm).select_related("person", "recorded_by")
    return rows.prefetch_related("suspensions").order_by("-id")


def certificate(farm: Farm, certificate_id: int) -> Certificate:
    """One certificate; ``Unknown`` for another farm's."""
    row: Certificate = one(certificates(farm).filter(pk=certificate_id))
    return row


def trainings(farm: Farm) -> QuerySet[TrainingRecord]:
    """Every training on record, struck ones too, newest entry first."""
    rows = TrainingRecord.objects.for_farm(farm).select_related("person", "recorded_by", "struck_by")
    return rows.order_by("-id")


def training(farm: Farm, training_id: int) -> TrainingRecord:
    """One training; ``Unknown`` for another farm's."""
    row: TrainingRecord = one(trainings(farm).filter(pk=training_id))
    return row


# ---- facts -----------------------------------------------------------------------------


def certificate_facts(row: Certificate) -> CertificateFacts:
    """A certificate row (suspensions prefetched) as facts."""
    return CertificateFacts(
        id=row.pk,
        number=row.number,
        jurisdiction=row.jurisdiction,
        kind=CertificateKind(row.kind),
        categories=frozenset(row.categories),
        valid_from=row.valid_from,
        valid_to=row.valid_to,
        suspensions=tuple(Suspension(from_on=s.from_on, lifted_on=s.lifted_on) for s in row.suspensions.all()),
    )


def training_facts(row: TrainingRecord) -> TrainingFacts:
    """A training row as facts."""
    return TrainingFacts(id=row.pk, kind=TrainingKind(row.kind), topic=row.topic, trained_on=row.trained_on)


def credentials(farm: Farm, person_ids: Collection[int]) -> dict[int, Credentials]:
    """What is known of each of these people on this farm. Four queries, however many they are.

    Who has or had a place on the farm has an entry, also without a single paper; others have none.
    """
    return {known.person_id: known for known, _ in _papers(farm, person_ids)}


def _papers(farm: Farm, person_ids: Collection[int]) -> list[tuple[Credentials, list[Certificate]]]:
    """Each person's facts beside the certificate rows they came from, by name."""
    rows: dict[int, list[Certificate]] = defaultdict(list)
    for row in certificates(farm).filter(person_id__in=person_ids):
        rows[row.person_id].append(row)
    trained: dict[int, list[TrainingFacts]] = defaultdict(list)
    for line in TrainingRecord.objects.for_farm(farm).filter(person_id__in=person_ids, struck_at=None):
        trained[line.person_id].append(training_facts(line))
    places = Membership.objects.for_farm(farm).filter(person_id__in=person_ids).select_related("person")
    return [
        (_known(place, rows[place.person_id], trained[place.person_id]), rows[place.person_id])
        for place in places.order_by("person__full_name", "person_id")
    ]


def _known(place: Membership, rows: Iterable[Certificate], trained: Iterable[TrainingFacts]) -> Credentials:
    return Credentials(
        person_id=place.person_id,
        name=place.person.full_name,
        born_on=place.person.born_on,
        family=place.family,
        certificates=tuple(certificate_facts(row) for row in rows),
        trainings=tuple(trained),
    )


# ---- cards -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class CertificateLine:
    """A certificate as it stands on a day: valid, ended, not_begun or suspended."""

    row: Certificate
    state: str
    days_left: int
    renewal: Toward | None = None


@dataclass(frozen=True, kw_only=True)
class TrainingLine:
    """The newest training of a kind. ``until`` None: counts until replaced, or for as long as the label says."""

    facts: TrainingFacts
    until: date | None
    days_left: int | None

    @property
    def name(self) -> str:
        """What it is called, untranslated."""
        return self.facts.topic or TRAINING_NAMES[self.facts.kind]


@dataclass(frozen=True, kw_only=True)
class Card:
    """One person's papers on a day. ``certified``: may apply on this farm's ground that day."""

    person_id: int
    name: str
    certified: bool
    certificates: tuple[CertificateLine, ...]
    trainings: tuple[TrainingLine, ...]


def cards(farm: Farm, on_date: date) -> list[Card]:
    """The card of everybody who works on the farm now, by name. At most six queries."""
    working = list(people.members(farm).filter(active=True).values_list("person_id", flat=True))
    papers = _papers(farm, working)
    renewing = renewals(farm, [row for _, rows in papers for row in rows])
    return [_card(known, rows, farm.jurisdiction, on_date, renewing) for known, rows in papers]


def card(farm: Farm, person_id: int, on_date: date) -> Card:
    """One person's card; ``Unknown`` for somebody without a place on the farm."""
    for known, rows in _papers(farm, [person_id]):
        return _card(known, rows, farm.jurisdiction, on_date, renewals(farm, rows))
    raise Unknown(gettext_noop("Nobody with that number works on this farm."))


def _card(
    known: Credentials,
    rows: Iterable[Certificate],
    jurisdiction: str,
    on_date: date,
    renewing: Mapping[int, Toward],
) -> Card:
    lines = [replace(certificate_line(row, on_date), renewal=renewing.get(row.pk)) for row in rows]
    return Card(
        person_id=known.person_id,
        name=known.name,
        certified=certificate_on(known, on_date, jurisdiction) is not None,
        certificates=tuple(sorted(lines, key=lambda line: line.days_left, reverse=True)),
        trainings=tuple(training_lines(known, on_date)),
    )


def certificate_line(row: Certificate, on_date: date) -> CertificateLine:
    """One certificate as it stands on the day."""
    facts = certificate_facts(row)
    state = "valid"
    if on_date > facts.valid_to:
        state = "ended"
    elif facts.suspended_on(on_date):
        state = "suspended"
    elif on_date < facts.valid_from:
        state = "not_begun"
    return CertificateLine(row=row, state=state, days_left=days_left(row.valid_to, on_date))


def training_lines(known: Credentials, on_date: date) -> list[TrainingLine]:
    """The newest training of each kind and topic held on or before the day, in the order of the kinds."""
    newest: dict[tuple[TrainingKind, str], TrainingFacts] = {}
    for held in sorted(known.trainings, key=lambda t: t.trained_on):
        if held.trained_on <= on_date:
            newest[held.kind, held.topic.casefold()] = held
    order = list(TrainingKind)
    return [_line(t, on_date) for t in sorted(newest.values(), key=lambda t: (order.index(t.kind), t.topic))]


def _line(held: TrainingFacts, on_date: date) -> TrainingLine:
    months = MONTHS[held.kind]
    until = None if months is None else good_through(held.trained_on, months)
    return TrainingLine(facts=held, until=until, days_left=None if until is None else days_left(until, on_date))


# ---- reminders -------------------------------------------------------------------------


def next_due(farm: Farm, now: datetime) -> datetime:
    """When time alone may change ``due``: with the farm's date."""
    return next_midnight(now, farm.time_zone)


def due(farm: Farm, now: datetime) -> list[Due]:
    """Certificates and trainings that end in 90, 30, 7 or 0 days: the person and the managers hear it."""
    on_date, managers = today(farm, now), people.person_ids_with(farm, Role.MANAGER)
    held = cards(farm, on_date)
    trainings = [found for card in held for found in _trainings_due(farm, card, managers, on_date)]
    return [
        *(found for card in held for found in _certificates_due(farm, card, managers)),
        *_each_for_themselves(trainings, managers),
        *_at_once_for(farm, trainings, managers),
    ]


def _each_for_themselves(trainings: Iterable[Due], managers: Collection[int]) -> Iterable[Due]:
    for due in trainings:
        if own := [p for p in due.person_ids if p not in managers]:
            yield replace(due, person_ids=own)


def _at_once_for(farm: Farm, trainings: Iterable[Due], managers: list[int]) -> Iterable[Due]:
    """A crew that was trained together is one notice to each manager."""
    by_training: dict[str, list[Due]] = defaultdict(list)
    for due in trainings:
        training = due.numbers["training"]
        by_training[getattr(training, "phrase", str(training))].append(replace(due, person_ids=managers))
    for training, said in by_training.items():
        yield from rolled(said, slot="name", subject=("trainings", training), path=f"/f/{farm.slug}/cards/")


def _certificates_due(farm: Farm, held: Card, managers: list[int]) -> list[Due]:
    """Of each place and kind only the longest: one that was renewed needs no reminder."""
    longest: dict[tuple[str, str], CertificateLine] = {}
    for line in held.certificates:  # longest first
        longest.setdefault((line.row.jurisdiction.casefold(), line.row.kind), line)
    found = []
    for line in longest.values():
        if (mark := reminder_mark(line.days_left)) is not None:
            template = gettext_noop("Certificate {number} of {name} is valid through {until}.")
            numbers: dict[str, Slot] = {"number": line.row.number, "name": held.name, "until": line.row.valid_to}
            kind = CERTIFICATE_ENDS_SOON if mark <= 7 else CERTIFICATE_ENDING
            subject = ("certificate", line.row.pk)
            found.append(_notice(farm, held, managers, kind, subject, mark, line.row.valid_to, template, numbers))
    return found


def _trainings_due(farm: Farm, held: Card, managers: list[int], on_date: date) -> list[Due]:
    """A certified applicator needs no worker or handler training, so none is asked for."""
    spared = {TrainingKind.WORKER, TrainingKind.HANDLER, TrainingKind.SUPERVISED_USE} if held.certified else set()
    found = []
    for line in held.trainings:
        if line.days_left is None or line.until is None or line.facts.kind in spared:
            continue
        if (mark := reminder_mark(line.days_left)) is not None:
            template = gettext_noop("The {training} training of {name} counts through {until}.")
            words = Words(TRAINING_NAMES[line.facts.kind])
            numbers: dict[str, Slot] = {"training": words, "name": held.name, "until": line.until}
            kind = TRAINING_ENDS_SOON if mark <= 7 else TRAINING_ENDING
            subject = ("training", line.facts.id or 0)
            found.append(_notice(farm, held, managers, kind, subject, mark, line.until, template, numbers))
    return found


def _notice(
    farm: Farm,
    held: Card,
    managers: list[int],
    kind: str,
    subject: tuple[str, int],
    mark: int,
    until: date,
    template: str,
    numbers: dict[str, Slot],
) -> Due:
    return Due(
        kind=kind,
        subject_type=subject[0],
        subject_id=subject[1],
        occasion=f"{mark} days before {until.isoformat()}",
        person_ids=sorted({held.person_id, *managers}),
        template=template,
        numbers=numbers,
        path=f"/f/{farm.slug}/cards/{held.person_id}/",
        at=until,
    )
