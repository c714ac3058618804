"""Every error of the API in one form: RFC 9457 problem+json."""

from __future__ import annotations

import logging
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, JsonResponse
from django.utils.translation import get_language, gettext
from rest_framework import exceptions, status
from rest_framework.response import Response

from farmops import wording
from farmops.errors import BadInput, Finding, NotYourRole, Refused, Said, Stale, Told, Unknown

CONTENT_TYPE = "application/problem+json"
log = logging.getLogger(__name__)


class PreconditionRequired(exceptions.APIException):
    """An edit came without If-Match."""

    status_code = status.HTTP_428_PRECONDITION_REQUIRED
    default_detail = 'Send If-Match with the version you read, such as If-Match: "v3".'
    default_code = "if_match_missing"


def finding_json(finding: Finding) -> dict[str, object]:
    """A finding with its sentence in the reader's language."""
    return {**finding.as_json(), "sentence": translated(finding)}


def translated(finding: Finding) -> str:
    """The finding's sentence in the active language."""
    return wording.fill(gettext(finding.template), finding.numbers, get_language())


def in_words(said: str) -> str:
    """A sentence of a farm's 'no' in the active language."""
    if not isinstance(said, Said):
        return gettext(said)
    numbers = {n: tuple(map(_word, v)) if isinstance(v, tuple) else v for n, v in said.numbers.items()}
    return Said.filled(gettext(said.template), numbers)


def _word(text: str) -> str:
    """Nothing stays nothing: the catalogue answers its own head for it."""
    return gettext(text) if text else ""


def problem(code: int, title: str, detail: str, **more: Any) -> dict[str, Any]:
    return {"type": "about:blank", "title": title, "status": code, "detail": detail, **more}


def _flat(detail: Any, prefix: str = "") -> dict[str, list[str]]:
    """DRF's nested error detail -> dotted field name -> sentences."""
    if isinstance(detail, dict):
        pairs = detail.items()
    elif isinstance(detail, list) and any(isinstance(d, (dict, list)) for d in detail):
        pairs = ((str(i), d) for i, d in enumerate(detail) if d)  # type: ignore[assignment]
    else:
        said = detail if isinstance(detail, list) else [detail]
        return {prefix or "body": [str(s) for s in said]}
    found: dict[str, list[str]] = {}
    for name, inner in pairs:
        key = f"{prefix}.{name}" if prefix else str(name)
        found.update(_flat(inner, "body" if key == "non_field_errors" else key))
    return found


def describe(error: Exception) -> dict[str, Any] | None:
    """The problem document for an anticipated error; None for a fault."""
    if isinstance(error, Refused):
        said = " ".join(translated(f) for f in error.findings)
        return problem(409, gettext("Refused"), said, findings=[finding_json(f) for f in error.findings])
    if isinstance(error, BadInput):
        return _as_typed({name: [in_words(s) for s in said] for name, said in error.errors.items()})
    if isinstance(error, NotYourRole | PermissionDenied):
        return problem(403, gettext("Not your role"), _said(error))
    if isinstance(error, Unknown | Http404):
        return problem(404, gettext("Not found"), _said(error) or gettext(Unknown.usual))
    if isinstance(error, Stale):
        return problem(412, gettext("Changed meanwhile"), _said(error))
    if isinstance(error, exceptions.ValidationError):
        return _as_typed(_flat(error.detail))
    if isinstance(error, exceptions.APIException):
        return problem(error.status_code, str(error.default_detail), str(error.detail))
    return None


def _as_typed(errors: dict[str, list[str]]) -> dict[str, Any]:
    return problem(400, gettext("Cannot be used as typed"), gettext("See errors for each field."), errors=errors)


def _said(error: Exception) -> str:
    """The sentence of an error; of one that is not the farm's own (``Http404``) as it stands."""
    return in_words(error.said) if isinstance(error, Told) else str(error)


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler."""
    body = describe(error)
    if body is None:
        return None  # a fault: DRF re-raises, the log has the traceback, handler500 answers
    response = Response(body, status=body["status"], content_type=CONTENT_TYPE)
    if wanted := getattr(error, "auth_header", None):
        response["WWW-Authenticate"] = wanted
    if wait := getattr(error, "wait", None):
        response["Retry-After"] = str(int(wait))
    return response


def is_api(request: HttpRequest) -> bool:
    return request.path.startswith("/api/")


def json_problem(code: int, title: str, detail: str) -> JsonResponse:
    """For errors that arise outside DRF."""
    return JsonResponse(problem(code, title, detail), status=code, content_type=CONTENT_TYPE)
