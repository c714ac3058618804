"""API doors of record rules and of what is late or missing."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.people.rules import Can
from apps.spraying import queries as spraying
from apps.spraying.records import queries, services
from apps.spraying.records import serializers as shapes
from farmops.errors import Unknown, gettext_noop
from farmops.web import FarmAPI


class RecordRules(FarmAPI):
    """Every shipped rule and every rule of the farm's own, and which of them the farm goes by."""

    needs = {"GET": Can.READ_RECORDS, "POST": Can.EDIT_FARM}

    @extend_schema(responses=shapes.RecordRuleOut(many=True), operation_id="list_record_rules")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.RecordRuleOut, queries.choices(self.farm), many=True)

    @extend_schema(request=shapes.RecordRuleIn, responses={201: shapes.RecordRuleOut}, operation_id="add_record_rule")
    def post(self, request: Request, farm: str) -> Response:
        row = services.add_rule(member=self.member, values=self.read(shapes.RecordRuleIn), now=self.now)
        return self.show(shapes.RecordRuleOut, self.choice(row.code), status=201)

    def choice(self, code: str) -> queries.Choice:
        found = {c.rule.code: c for c in queries.choices(self.farm)}
        if code not in found:
            raise Unknown(gettext_noop("No such record rule in this farm's book."))
        return found[code]


class OneRecordRule(RecordRules):
    needs = {"GET": Can.READ_RECORDS, "PATCH": Can.EDIT_FARM, "POST": Can.EDIT_FARM}

    @extend_schema(responses=shapes.RecordRuleOut, operation_id="read_record_rule")
    def get(self, request: Request, farm: str, code: str) -> Response:  # type: ignore[override]
        return self.show(shapes.RecordRuleOut, self.choice(code))

    @extend_schema(request=shapes.RecordRuleEdit, responses=shapes.RecordRuleOut, operation_id="edit_record_rule")
    def patch(self, request: Request, farm: str, code: str) -> Response:
        services.edit_rule(
            member=self.member,
            code=code,
            expected_version=self.expected_version(),
            changes=self.read(shapes.RecordRuleEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.RecordRuleOut, self.choice(code))

    @extend_schema(request=shapes.UseRecordRuleIn, responses=shapes.RecordRuleOut, operation_id="use_record_rule")
    def post(self, request: Request, farm: str, code: str) -> Response:  # type: ignore[override]
        services.use_rule(member=self.member, code=code, now=self.now, **self.read(shapes.UseRecordRuleIn))
        return self.show(shapes.RecordRuleOut, self.choice(code))


class RecordStandings(FarmAPI):
    """How one signed record stands against the farm's rules."""

    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(responses=shapes.RecordStandingOut(many=True), operation_id="read_record_standings")
    def get(self, request: Request, farm: str, seq: int) -> Response:
        found = queries.standings_of(spraying.record(self.farm, seq))
        return self.show(shapes.RecordStandingOut, found, many=True)


class LooseEnds(FarmAPI):
    """What is late or missing: jobs without a record, late records, blanks. It shrinks as things are done."""

    needs = {"GET": Can.READ_RECORDS}

    @extend_schema(responses=shapes.LooseEndOut(many=True), operation_id="list_loose_ends")
    def get(self, request: Request, farm: str) -> Response:
        found = [*queries.open_ends(self.farm, self.now), *queries.record_ends(self.farm, self.now)]
        return self.show(shapes.LooseEndOut, found, many=True)


class ExplainRecord(FarmAPI):
    """Write why a record was late or stays blank."""

    needs = {"GET": Can.READ_RECORDS, "POST": Can.READ_RECORDS}

    @extend_schema(responses=shapes.RecordNoteOut(many=True), operation_id="list_record_notes")
    def get(self, request: Request, farm: str, seq: int) -> Response:
        return self.show(shapes.RecordNoteOut, queries.notes(spraying.record(self.farm, seq)), many=True)

    @extend_schema(request=shapes.ExplainIn, responses={201: shapes.RecordNoteOut}, operation_id="explain_record")
    def post(self, request: Request, farm: str, seq: int) -> Response:
        asked = self.read(shapes.ExplainIn)
        row = services.explain_record(member=self.member, seq=seq, now=self.now, **asked)
        return self.show(shapes.RecordNoteOut, row, status=201)
