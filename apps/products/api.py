"""API doors of the label library."""

from __future__ import annotations

from datetime import date
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.products import queries, services
from apps.products import serializers as shapes
from apps.products.filters import LabelFilter, ProductFilter
from apps.products.models import LabelVersion, Product
from farmops.errors import BadInput, Said, Unknown, gettext_noop
from farmops.web import FarmAPI, FarmList


class Products(FarmList):
    """The label library: every product, with the label in force today."""

    needs = {"GET": Can.READ_FARM, "POST": Can.EDIT_LABELS}
    serializer_class = shapes.ProductOut
    queryset = Product.rows.none()
    filterset_class = ProductFilter

    def rows(self) -> Any:
        return queries.products(self.farm, queries.today(self.farm, self.now))

    @extend_schema(request=shapes.ProductIn, responses={201: shapes.ProductOut}, operation_id="add_product")
    def post(self, request: Request, farm: str) -> Response:
        row = services.add_product(member=self.member, now=self.now, **self.read(shapes.ProductIn))
        shown = queries.product_in(self.farm, row.pk, queries.today(self.farm, self.now))
        return self.show(shapes.ProductOut, shown, status=201)


class OneProduct(FarmAPI):
    needs = {"GET": Can.READ_FARM, "PATCH": Can.EDIT_LABELS}

    def _shown(self, product: int) -> Response:
        return self.show(shapes.ProductOut, queries.product_in(self.farm, product, queries.today(self.farm, self.now)))

    @extend_schema(responses=shapes.ProductOut, operation_id="read_product")
    def get(self, request: Request, farm: str, product: int) -> Response:
        return self._shown(product)

    @extend_schema(request=shapes.ProductEdit, responses=shapes.ProductOut, operation_id="edit_product")
    def patch(self, request: Request, farm: str, product: int) -> Response:
        services.edit_product(
            member=self.member,
            product_id=product,
            expected_version=self.expected_version(),
            changes=self.read(shapes.ProductEdit, partial=True),
            now=self.now,
        )
        return self._shown(product)


class LabelInForce(FarmAPI):
    """The checked label to go by on a date; 404 when there is none."""

    needs = {"GET": Can.READ_FARM}

    @extend_schema(
        parameters=[OpenApiParameter("on", OpenApiTypes.DATE, description="Farm-local date; left out = today")],
        responses=shapes.LabelOut,
        operation_id="read_label_in_force",
    )
    def get(self, request: Request, farm: str, product: int) -> Response:
        on_date = self._asked(request)
        row = queries.label_in_force(queries.product_in(self.farm, product, on_date), on_date)
        if row is None:
            raise Unknown(Said(gettext_noop("No checked label of this product is in force on {on}."), on=on_date))
        return self.show(shapes.LabelOut, row)

    def _asked(self, request: Request) -> date:
        text = request.query_params.get("on")
        if text is None:
            return queries.today(self.farm, self.now)
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise BadInput({"on": gettext_noop("Must be a date such as 2026-06-03.")}) from None


class LabelVersions(FarmList):
    """A product's label versions, newest first."""

    needs = {"GET": Can.READ_FARM, "POST": Can.EDIT_LABELS}
    serializer_class = shapes.LabelOut
    queryset = LabelVersion.rows.none()
    filterset_class = LabelFilter

    def rows(self) -> Any:
        return queries.versions_of(self.farm, self.kwargs["product"])

    @extend_schema(request=shapes.LabelIn, responses={201: shapes.LabelOut}, operation_id="draft_label")
    def post(self, request: Request, farm: str, product: int) -> Response:
        row = services.draft_label(member=self.member, product_id=product, now=self.now, **self.read(shapes.LabelIn))
        return self.show(shapes.LabelOut, queries.version_in(self.farm, row.pk), status=201)


class OneLabel(FarmAPI):
    needs = {"GET": Can.READ_FARM, "PATCH": Can.EDIT_LABELS}

    @extend_schema(responses=shapes.LabelOut, operation_id="read_label_version")
    def get(self, request: Request, farm: str, label: int) -> Response:
        return self.show(shapes.LabelOut, queries.version_in(self.farm, label))

    @extend_schema(request=shapes.DraftEdit, responses=shapes.LabelOut, operation_id="edit_draft_label")
    def patch(self, request: Request, farm: str, label: int) -> Response:
        services.edit_draft(
            member=self.member,
            label_id=label,
            expected_version=self.expected_version(),
            changes=self.read(shapes.DraftEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.LabelOut, queries.version_in(self.farm, label))


class CheckLabel(FarmAPI):
    """Say that this text was compared with the paper label."""

    needs = {"POST": Can.CHECK_LABELS}

    @extend_schema(request=shapes.CheckIn, responses=shapes.LabelOut, operation_id="check_label")
    def post(self, request: Request, farm: str, label: int) -> Response:
        services.check_label(member=self.member, label_id=label, now=self.now, **self.read(shapes.CheckIn))
        return self.show(shapes.LabelOut, queries.version_in(self.farm, label))


class WithdrawLabel(FarmAPI):
    """Take a label version out of use at once, or throw a draft away."""

    needs = {"POST": Can.CHECK_LABELS}

    @extend_schema(request=shapes.WithdrawIn, responses=shapes.LabelOut, operation_id="withdraw_label")
    def post(self, request: Request, farm: str, label: int) -> Response:
        services.withdraw_label(member=self.member, label_id=label, now=self.now, **self.read(shapes.WithdrawIn))
        return self.show(shapes.LabelOut, queries.version_in(self.farm, label))
