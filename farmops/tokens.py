"""How a request proves who sends it: a bearer key or the browser's session."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework import authentication, exceptions
from rest_framework.request import Request

from farmops import clock


class TokenAuthentication(authentication.BaseAuthentication):
    """``Authorization: Bearer <prefix>.<secret>``; the key opens one farm only."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        from apps.people import queries  # the app registry must be loaded first

        scheme, _, bearer = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer":
            return None
        now = clock.now()
        token = queries.token_behind(bearer.strip(), now)
        if token is None:
            raise exceptions.AuthenticationFailed("This key is unknown, expired or revoked.")
        if token.last_used_at is None or now - token.last_used_at > timedelta(minutes=5):
            type(token).rows.filter(pk=token.pk).update(last_used_at=now)
        return token.person, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="farm"'


class SessionAuthentication(authentication.SessionAuthentication):
    """The browser's log-in, with CSRF protection."""


class _TokenScheme(OpenApiAuthenticationExtension):
    target_class = TokenAuthentication
    name = "farmKey"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "description": "A key made by POST /api/v1/tokens/."}


class _SessionScheme(OpenApiAuthenticationExtension):
    target_class = SessionAuthentication
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
