"""Which language a page speaks: the person's own choice, else the cookie, else the browser's."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

CODES = [code for code, _ in settings.LANGUAGES]


class PersonLanguageMiddleware:
    """Activates the language for this request and says so in the answer's headers."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        code = self.choose(request)
        with translation.override(code):
            request.LANGUAGE_CODE = code  # type: ignore[attr-defined]
            response = self.get_response(request)
        response.headers.setdefault("Content-Language", code)
        patch_vary_headers(response, ("Accept-Language", "Cookie"))
        return response

    @staticmethod
    def choose(request: HttpRequest) -> str:
        cookie = request.COOKIES.get(settings.LANGUAGE_COOKIE_NAME, "")
        if cookie in CODES:
            return cookie
        if request.user.is_authenticated and request.user.language in CODES:
            return str(request.user.language)
        return translation.get_language_from_request(request)
