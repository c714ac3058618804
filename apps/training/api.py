"""API doors of certificates, trainings and cards."""

from __future__ import annotations

from typing import Any

import django_filters as filters
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.training import queries, services
from apps.training import serializers as shapes
from apps.training.models import TRAINING_KINDS, Certificate, TrainingRecord
from farmops.web import FarmAPI, FarmList


class CertificateFilters(filters.FilterSet):
    person = filters.NumberFilter(field_name="person_id")
    valid_on = filters.DateFilter(method="on_day", help_text="Between first and last day; suspensions not looked at")

    def on_day(self, rows: Any, name: str, day: Any) -> Any:
        return rows.filter(valid_from__lte=day, valid_to__gte=day)

    class Meta:
        model = Certificate
        fields: list[str] = []


class TrainingFilters(filters.FilterSet):
    person = filters.NumberFilter(field_name="person_id")
    training = filters.ChoiceFilter(field_name="kind", choices=[(k, k) for k in TRAINING_KINDS])
    struck = filters.BooleanFilter(field_name="struck_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = TrainingRecord
        fields: list[str] = []


class Certificates(FarmList):
    needs = {"GET": Can.READ_CERTIFICATES, "POST": Can.EDIT_CERTIFICATES}
    serializer_class = shapes.CertificateOut
    queryset = Certificate.rows.none()
    filterset_class = CertificateFilters

    def rows(self) -> Any:
        return queries.certificates(self.farm)

    @extend_schema(
        request=shapes.CertificateIn, responses={201: shapes.CertificateOut}, operation_id="record_certificate"
    )
    def post(self, request: Request, farm: str) -> Response:
        row = services.record_certificate(
            member=self.member, now=self.now, **{"categories": [], **self.read(shapes.CertificateIn)}
        )
        return self.show(shapes.CertificateOut, queries.certificate(self.farm, row.pk), status=201)


class OneCertificate(FarmAPI):
    needs = {"GET": Can.READ_CERTIFICATES, "PATCH": Can.EDIT_CERTIFICATES}

    @extend_schema(responses=shapes.CertificateOut, operation_id="read_certificate")
    def get(self, request: Request, farm: str, certificate: int) -> Response:
        return self.show(shapes.CertificateOut, queries.certificate(self.farm, certificate))

    @extend_schema(request=shapes.CertificateEdit, responses=shapes.CertificateOut, operation_id="edit_certificate")
    def patch(self, request: Request, farm: str, certificate: int) -> Response:
        services.edit_certificate(
            member=self.member,
            certificate_id=certificate,
            expected_version=self.expected_version(),
            changes=self.read(shapes.CertificateEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.CertificateOut, queries.certificate(self.farm, certificate))


class SuspendCertificate(FarmAPI):
    needs = {"POST": Can.EDIT_CERTIFICATES}

    @extend_schema(request=shapes.SuspendIn, responses=shapes.CertificateOut, operation_id="suspend_certificate")
    def post(self, request: Request, farm: str, certificate: int) -> Response:
        services.suspend_certificate(
            member=self.member, certificate_id=certificate, now=self.now, **self.read(shapes.SuspendIn)
        )
        return self.show(shapes.CertificateOut, queries.certificate(self.farm, certificate))


class LiftSuspension(FarmAPI):
    needs = {"POST": Can.EDIT_CERTIFICATES}

    @extend_schema(request=shapes.LiftIn, responses=shapes.CertificateOut, operation_id="lift_suspension")
    def post(self, request: Request, farm: str, certificate: int) -> Response:
        services.lift_suspension(
            member=self.member, certificate_id=certificate, now=self.now, **self.read(shapes.LiftIn)
        )
        return self.show(shapes.CertificateOut, queries.certificate(self.farm, certificate))


class Trainings(FarmList):
    needs = {"GET": Can.READ_CERTIFICATES, "POST": Can.EDIT_CERTIFICATES}
    serializer_class = shapes.TrainingOut
    queryset = TrainingRecord.rows.none()
    filterset_class = TrainingFilters

    def rows(self) -> Any:
        return queries.trainings(self.farm)

    @extend_schema(request=shapes.TrainingIn, responses={201: shapes.TrainingOut}, operation_id="record_training")
    def post(self, request: Request, farm: str) -> Response:
        row = services.record_training(member=self.member, now=self.now, **self.read(shapes.TrainingIn))
        return self.show(shapes.TrainingOut, row, status=201)


class StrikeTraining(FarmAPI):
    needs = {"POST": Can.EDIT_CERTIFICATES}

    @extend_schema(request=shapes.StrikeIn, responses=shapes.TrainingOut, operation_id="strike_training")
    def post(self, request: Request, farm: str, training: int) -> Response:
        row = services.strike_training(
            member=self.member, training_id=training, now=self.now, **self.read(shapes.StrikeIn)
        )
        return self.show(shapes.TrainingOut, row)


class Cards(FarmAPI):
    needs = {"GET": Can.READ_CERTIFICATES}

    @extend_schema(responses=shapes.CardOut(many=True), operation_id="list_cards")
    def get(self, request: Request, farm: str) -> Response:
        """Everybody who works here, with the days their papers still count."""
        return self.show(shapes.CardOut, queries.cards(self.farm, queries.today(self.farm, self.now)), many=True)


class OneCard(FarmAPI):
    needs = {"GET": Can.READ_CERTIFICATES}

    @extend_schema(responses=shapes.CardOut, operation_id="read_card")
    def get(self, request: Request, farm: str, person: int) -> Response:
        found = queries.card(self.farm, person, queries.today(self.farm, self.now))
        return self.show(shapes.CardOut, found)


class MyCard(FarmAPI):
    needs = {"GET": Can.READ_FARM}

    @extend_schema(responses=shapes.CardOut, operation_id="read_my_card")
    def get(self, request: Request, farm: str) -> Response:
        found = queries.card(self.farm, self.member.person_id, queries.today(self.farm, self.now))
        return self.show(shapes.CardOut, found)
