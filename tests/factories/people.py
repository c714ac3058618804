"""People and farms, all invented."""

from __future__ import annotations

from decimal import Decimal

import factory

from apps.people.models import Farm, Membership, Person
from tests.factories.base import FarmOwnedFactory


class PersonFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Person
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n}")
    full_name = factory.Sequence(lambda n: f"Person {n}")
    phone = "555-0100"
    password = factory.django.Password("a-long-password")


class FarmFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Farm

    slug = factory.Sequence(lambda n: f"farm-{n}")
    name = factory.Sequence(lambda n: f"Farm {n}")
    time_zone = "America/Chicago"
    latitude = Decimal("40.25")
    longitude = Decimal("-86.25")
    jurisdiction = "IN"
    contact_name = "Ines Prado"
    contact_phone = "555-0101"


class MembershipFactory(FarmOwnedFactory):
    class Meta:
        model = Membership

    farm = factory.SubFactory(FarmFactory)
    person = factory.SubFactory(PersonFactory)
    is_staff_member = True
