"""API doors of early entry: what is ruled out, a supervisor's decision, and how long it was."""

from __future__ import annotations

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.safety.early import queries, services
from apps.safety.early import serializers as shapes
from apps.safety.early.models import EarlyEntry
from farmops.errors import gettext_noop
from farmops.web import FarmAPI, FarmList

NOT_RULED_OUT = gettext_noop("Not ruled out. It needs the decision of a named supervisor, on the spot.")
RULED_OUT = gettext_noop("Ruled out.")


class LookAtEarlyEntry(FarmAPI):
    """What rules an early entry out. Reads only; the answer is never a permission."""

    needs = {"POST": Can.SUPERVISE_ENTRY}

    @extend_schema(request=shapes.EarlyEntryLookIn, responses=shapes.RuledOutOut, operation_id="look_at_early_entry")
    def post(self, request: Request, farm: str, block: int) -> Response:
        found = services.look(self.member, block_id=block, now=self.now, **self.read(shapes.EarlyEntryLookIn))
        said = {"ruled_out": found, "needs": RULED_OUT if found else NOT_RULED_OUT}
        return self.show(shapes.RuledOutOut, said)


class DecideEarlyEntry(FarmAPI):
    """A supervisor's own decision, under their name; refused while the law rules the entry out."""

    needs = {"POST": Can.SUPERVISE_ENTRY}

    @extend_schema(
        request=shapes.EarlyEntryIn, responses={201: shapes.EarlyEntryOut}, operation_id="decide_early_entry"
    )
    def post(self, request: Request, farm: str, block: int) -> Response:
        row = services.decide(member=self.member, block_id=block, now=self.now, **self.read(shapes.EarlyEntryIn))
        return self.show(shapes.EarlyEntryOut, row, status=201)


class EarlyEntries(FarmList):
    """Every decision, newest first."""

    needs = {"GET": Can.SUPERVISE_ENTRY}
    serializer_class = shapes.EarlyEntryOut
    queryset = EarlyEntry.rows.none()

    def rows(self) -> QuerySet[EarlyEntry]:
        return queries.entries(self.farm)


class EarlyEntryLeft(FarmAPI):
    """The worker has left the ground."""

    needs = {"POST": Can.SUPERVISE_ENTRY}

    @extend_schema(request=shapes.LeftIn, responses=shapes.EarlyEntryOut, operation_id="end_early_entry")
    def post(self, request: Request, farm: str, entry: int) -> Response:
        asked = self.read(shapes.LeftIn)
        row = services.left(member=self.member, entry_id=entry, left_at=asked.get("left_at"), now=self.now)
        return self.show(shapes.EarlyEntryOut, row)
