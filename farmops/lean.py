"""Doors that are asked all day: a plain question takes a short way to its answer.

The short way is for the browser's log-in, GET, and JSON without parameters, and it can only end in a 200. Everything
else (keys, no log-in, HEAD, other formats, a refusal, bad input, another farm's block, a fault) takes the long way of
``FarmAPI``, which meets the same again and says so in a problem document.
"""

from __future__ import annotations

import logging
from typing import Any

import orjson
from django.http import HttpRequest, HttpResponse, QueryDict
from rest_framework.request import Request
from rest_framework.response import Response

from farmops.errors import FarmError
from farmops.web import FarmAPI

_SEPARATORS = b"\xe2\x80"  # how the two line separators of Unicode begin
log = logging.getLogger(__name__)
NO_STORE = {"Cache-Control": "no-store"}


class LeanAPI(FarmAPI):
    """A farm door whose GET answers with ``told(query, **address)``, by either way the same bytes."""

    def told(self, query: QueryDict, **address: Any) -> Any:
        """The body; ``self.member``, ``self.farm`` and ``self.now`` are set. It must not change anything but the
        log of answers given: after a fault it is asked again."""
        raise NotImplementedError

    def answer(self, request: Request, **address: Any) -> Response:
        """The long way."""
        return Response(self.told(request.query_params, **address), headers=NO_STORE)

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if is_plain(request) and request.user.is_active:
            try:
                return self._short(request, **kwargs)
            except FarmError:
                pass  # the long way puts it in words
            except Exception:
                log.exception("the short way to %s failed", request.path)
        return super().dispatch(request, *args, **kwargs)

    def _short(self, request: HttpRequest, farm: str, **address: Any) -> HttpResponse:
        self.admit(request.user, farm, "GET")
        body = as_json(self.told(request.GET, **address))
        headers = {"Allow": ", ".join(self.allowed_methods), **NO_STORE}
        return HttpResponse(body, content_type="application/json", headers=headers)


def is_plain(request: HttpRequest) -> bool:
    """Whether it is a GET for JSON by somebody who may be logged in with a session, and nothing unusual about it."""
    accepts = request.META.get("HTTP_ACCEPT", "*/*")
    usual = ";" not in accepts and ("*/*" in accepts or "application/json" in accepts)
    return request.method == "GET" and usual and "HTTP_AUTHORIZATION" not in request.META


def as_json(body: Any) -> bytes:
    """The bytes that the REST framework's renderer gives for the same body (times in UTC end in Z)."""
    text: bytes = orjson.dumps(body, option=orjson.OPT_UTC_Z)
    if _SEPARATORS not in text:
        return text
    # Legal in JSON and not in older scripts; the framework escapes them too.
    return text.replace(b"\xe2\x80\xa8", b"\\u2028").replace(b"\xe2\x80\xa9", b"\\u2029")
