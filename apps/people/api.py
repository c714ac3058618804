"""API doors of people: farms, members, invitations, keys, oneself."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import authenticate
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from apps.people import queries, services
from apps.people import serializers as shapes
from apps.people.models import Invitation, Membership
from apps.people.rules import Can
from farmops import clock
from farmops.web import FarmAPI, FarmList, read_body


class Tokens(APIView):
    """A key for programs, made with user name and password."""

    authentication_classes: list[Any] = []
    permission_classes = [AllowAny]

    @extend_schema(request=shapes.TokenByPassword, responses={201: shapes.TokenMade}, auth=[], operation_id="make_key")
    def post(self, request: Request) -> Response:
        asked = read_body(request, shapes.TokenByPassword)
        person = authenticate(request, username=asked["username"], password=asked["password"])
        if person is None:
            raise exceptions.AuthenticationFailed("User name or password is wrong, or there were too many tries.")
        member = queries.member_of(asked["farm"], person)  # type: ignore[arg-type]
        row, key = services.make_token(member=member, name=asked["name"], now=clock.now())
        return Response({**shapes.TokenOut(row).data, "key": key}, status=201)


class Me(APIView):
    versioned = False

    @extend_schema(responses=shapes.MeOut, operation_id="read_me")
    def get(self, request: Request) -> Response:
        return Response(shapes.MeOut(request.user).data)

    @extend_schema(request=shapes.MeEdit, responses=shapes.MeOut, operation_id="edit_me")
    def patch(self, request: Request) -> Response:
        changes = read_body(request, shapes.MeEdit, partial=True)
        return Response(shapes.MeOut(services.edit_me(person=request.user, changes=changes, now=clock.now())).data)


class MyPassword(APIView):
    @extend_schema(request=shapes.PasswordIn, responses={204: None}, operation_id="change_password")
    def post(self, request: Request) -> Response:
        asked = read_body(request, shapes.PasswordIn)
        services.change_password(
            person=request.user, old=asked["old_password"], new=asked["new_password"], now=clock.now()
        )
        return Response(status=204)


class Farms(APIView):
    @extend_schema(responses=shapes.FarmOut(many=True), operation_id="list_farms")
    def get(self, request: Request) -> Response:
        farms = [place.farm for place in queries.memberships_of(request.user)]
        return Response(shapes.FarmOut(farms, many=True).data)

    @extend_schema(request=shapes.FarmIn, responses={201: shapes.FarmOut}, operation_id="open_farm")
    def post(self, request: Request) -> Response:
        farm = services.open_farm(person=request.user, now=clock.now(), **read_body(request, shapes.FarmIn))
        return Response(shapes.FarmOut(farm).data, status=201)


class OneFarm(FarmAPI):
    needs = {"GET": Can.READ_FARM, "PATCH": Can.EDIT_FARM}

    @extend_schema(responses=shapes.FarmOut, operation_id="read_farm")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.FarmOut, self.farm)

    @extend_schema(request=shapes.FarmEdit, responses=shapes.FarmOut, operation_id="edit_farm")
    def patch(self, request: Request, farm: str) -> Response:
        row = services.edit_farm(
            member=self.member,
            expected_version=self.expected_version(),
            changes=self.read(shapes.FarmEdit, partial=True),
            now=self.now,
        )
        return self.show(shapes.FarmOut, row)


class Members(FarmList):
    """Everybody with a place on the farm. Managers only: it holds phone numbers."""

    needs = {"GET": Can.MANAGE_PEOPLE}
    serializer_class = shapes.MemberOut
    queryset = Membership.rows.none()

    def rows(self) -> Any:
        return queries.members(self.farm)


class OneMember(FarmAPI):
    needs = {"GET": Can.MANAGE_PEOPLE, "PATCH": Can.MANAGE_PEOPLE}

    @extend_schema(responses=shapes.MemberOut, operation_id="read_member")
    def get(self, request: Request, farm: str, member: int) -> Response:
        return self.show(shapes.MemberOut, queries.member_in(self.farm, member))

    @extend_schema(request=shapes.PlaceEdit, responses=shapes.MemberOut, operation_id="set_place")
    def patch(self, request: Request, farm: str, member: int) -> Response:
        row = services.set_place(
            member=self.member,
            membership_id=member,
            expected_version=self.expected_version(),
            now=self.now,
            **self.read(shapes.PlaceEdit),
        )
        return self.show(shapes.MemberOut, row)


class BirthDate(FarmAPI):
    """A day of birth: supervised use of restricted products asks for it."""

    needs = {"POST": Can.MANAGE_PEOPLE}

    @extend_schema(request=shapes.BirthDateIn, responses=shapes.MemberOut, operation_id="set_birth_date")
    def post(self, request: Request, farm: str, member: int) -> Response:
        row = services.set_birth_date(
            member=self.member, membership_id=member, now=self.now, **self.read(shapes.BirthDateIn)
        )
        return self.show(shapes.MemberOut, row)


class Invitations(FarmList):
    needs = {"GET": Can.MANAGE_PEOPLE, "POST": Can.MANAGE_PEOPLE}
    shown_once = frozenset({"code"})
    serializer_class = shapes.InvitationOut
    queryset = Invitation.rows.none()

    def rows(self) -> Any:
        return queries.invitations(self.farm)

    @extend_schema(request=shapes.InvitationIn, responses={201: shapes.InvitationMade}, operation_id="invite")
    def post(self, request: Request, farm: str) -> Response:
        row, code = services.invite(member=self.member, now=self.now, **self.read(shapes.InvitationIn))
        return Response({**shapes.InvitationOut(row).data, "code": code}, status=201)


class WithdrawInvitation(FarmAPI):
    needs = {"POST": Can.MANAGE_PEOPLE}

    @extend_schema(request=None, responses=shapes.InvitationOut, operation_id="withdraw_invitation")
    def post(self, request: Request, farm: str, invitation: int) -> Response:
        row = services.withdraw_invitation(member=self.member, invitation_id=invitation, now=self.now)
        return self.show(shapes.InvitationOut, row)


class AcceptInvitation(APIView):
    permission_classes = [AllowAny]

    @extend_schema(request=shapes.AcceptIn, responses={201: shapes.MemberOut}, operation_id="accept_invitation")
    def post(self, request: Request) -> Response:
        asked = read_body(request, shapes.AcceptIn)
        person = request.user if request.user.is_authenticated else None
        row = services.accept_invitation(code=asked.pop("code"), now=clock.now(), person=person, new=asked)
        return Response(shapes.MemberOut(row).data, status=201)


class MyTokens(FarmAPI):
    needs = {"GET": Can.READ_FARM, "POST": Can.READ_FARM}
    shown_once = frozenset({"key"})

    @extend_schema(responses=shapes.TokenOut(many=True), operation_id="list_my_keys")
    def get(self, request: Request, farm: str) -> Response:
        return self.show(shapes.TokenOut, queries.tokens_of(self.farm, self.member.person_id), many=True)

    @extend_schema(request=shapes.TokenIn, responses={201: shapes.TokenMade}, operation_id="make_my_key")
    def post(self, request: Request, farm: str) -> Response:
        row, key = services.make_token(member=self.member, now=self.now, **self.read(shapes.TokenIn))
        return Response({**shapes.TokenOut(row).data, "key": key}, status=201)


class RevokeToken(FarmAPI):
    needs = {"POST": Can.READ_FARM}

    @extend_schema(request=None, responses=shapes.TokenOut, operation_id="revoke_key")
    def post(self, request: Request, farm: str, token: int) -> Response:
        return self.show(shapes.TokenOut, services.revoke_token(member=self.member, token_id=token, now=self.now))
