"""API doors of the shed."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.inventory import queries, services
from apps.inventory import serializers as shapes
from apps.inventory.filters import LedgerFilter, LotFilter
from apps.inventory.models import LedgerLine, Lot
from apps.people.rules import Can
from farmops.units import Quantity
from farmops.web import FarmAPI, FarmList


def _with_quantity(asked: dict[str, Any], name: str) -> dict[str, Any]:
    """The request body with amount and unit joined to one quantity called ``name``."""
    return {name: Quantity(asked.pop("amount"), asked.pop("unit")), **asked}


class Shed(FarmAPI):
    """Every product of the shed in one answer, what runs out first on top."""

    needs = {"GET": Can.READ_SHED}

    @extend_schema(responses=shapes.StockOut(many=True), operation_id="list_shed")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.StockOut, queries.shed(self.farm, self.now), many=True)


class OneStock(FarmAPI):
    """One product: balance and promises. Lots and ledger are lists of their own, filtered by product."""

    needs = {"GET": Can.READ_SHED}

    @extend_schema(responses=shapes.ProductStockOut, operation_id="read_stock")
    def get(self, request: Request, farm: str, product: int) -> Response:
        row = queries.stock_row(self.farm, product, self.now)
        promised = [
            {"source_type": source.type, "source_id": source.id, "amount": amount}
            for source, amount in queries.promises(self.farm, product)
        ]
        return self.show(shapes.ProductStockOut, {"stock": row, "promises": promised})


class Deliveries(FarmAPI):
    needs = {"POST": Can.EDIT_SHED}

    @extend_schema(request=shapes.DeliveryIn, responses={201: shapes.LotOut}, operation_id="receive_delivery")
    def post(self, request: Request, farm: str, product: int) -> Response:
        asked = _with_quantity(self.read(shapes.DeliveryIn), "quantity")
        row = services.receive_delivery(member=self.member, product_id=product, now=self.now, **asked)
        return self.show(shapes.LotOut, queries.lot_in(self.farm, row.pk), status=201)


class Lots(FarmList):
    needs = {"GET": Can.READ_SHED}
    serializer_class = shapes.LotOut
    queryset = Lot.rows.none()
    filterset_class = LotFilter

    def rows(self) -> Any:
        return queries.lots(self.farm)


class OneLot(FarmAPI):
    needs = {"GET": Can.READ_SHED, "PATCH": Can.EDIT_SHED}

    @extend_schema(responses=shapes.LotOut, operation_id="read_lot")
    def get(self, request: Request, farm: str, lot: int) -> Response:
        return self.show(shapes.LotOut, queries.lot_in(self.farm, lot))

    @extend_schema(request=shapes.LotEdit, responses=shapes.LotOut, operation_id="edit_lot")
    def patch(self, request: Request, farm: str, lot: int) -> Response:
        services.edit_lot(
            member=self.member,
            lot_id=lot,
            expected_version=self.expected_version(),
            changes=self.read(shapes.LotEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.LotOut, queries.lot_in(self.farm, lot))


class Counts(FarmAPI):
    """Say what was counted; the ledger gets the difference."""

    needs = {"POST": Can.EDIT_SHED}

    @extend_schema(request=shapes.CountIn, responses={201: shapes.LedgerLineOut}, operation_id="count_lot")
    def post(self, request: Request, farm: str, lot: int) -> Response:
        asked = _with_quantity(self.read(shapes.CountIn), "counted")
        row = services.count(member=self.member, lot_id=lot, now=self.now, **asked)
        return self.show(shapes.LedgerLineOut, row, status=201)


class Adjustments(FarmAPI):
    """Correct a lot by a difference, such as a spill."""

    needs = {"POST": Can.EDIT_SHED}

    @extend_schema(request=shapes.AdjustIn, responses={201: shapes.LedgerLineOut}, operation_id="adjust_lot")
    def post(self, request: Request, farm: str, lot: int) -> Response:
        asked = _with_quantity(self.read(shapes.AdjustIn), "change")
        row = services.adjust(member=self.member, lot_id=lot, now=self.now, **asked)
        return self.show(shapes.LedgerLineOut, row, status=201)


class Ledger(FarmList):
    """Every movement, newest first. It only grows."""

    needs = {"GET": Can.READ_SHED}
    serializer_class = shapes.LedgerLineOut
    queryset = LedgerLine.rows.none()
    filterset_class = LedgerFilter

    def rows(self) -> Any:
        return queries.ledger(self.farm)
