"""What a phone may keep for reading without reception, and for whom.

A page opts in with ``FarmPage.keep_offline``; the service worker of ``/worker.js`` keeps it in a cache of its
reader alone. Answers of the board never opt in, and the worker refuses any page that holds a yes.
"""

from __future__ import annotations

import json
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.template.loader import get_template
from django.templatetags.static import static
from django.utils.crypto import salted_hmac
from django.views.decorators.http import require_GET

SHELL = [
    "farm/farm.css",
    "farm/offline.js",
    "farm/outbox.js",
    "farm/mark.svg",
    "safety/answer.css",
    "safety/answer.js",
    "safety/last_known.js",
    "spraying/mix.js",
]
"""Static files the worker keeps: what the kept pages are made of."""

NO_CONNECTION = "/no-connection/"


def reader_key(person_id: int) -> str:
    """Names a person's caches on a phone without naming the person."""
    return salted_hmac("farmops.offline.reader", str(person_id)).hexdigest()[:20]


def mark_reading(response: HttpResponse, *, person_id: int, keep: bool) -> None:
    """Say whose page this is, and whether the worker may keep it."""
    response.headers["Farm-Reader"] = reader_key(person_id)
    if keep and response.status_code == 200:
        response.headers["Keep-Offline"] = "yes"


def from_outbox(request: HttpRequest) -> str:
    """The reader in whose name a waiting form is sent; empty for a form that a person sends directly."""
    return request.headers.get("Outbox", "") if request.method == "POST" else ""


def outbox_answer(response: HttpResponse) -> HttpResponse:
    """A redirect after a form sent by the outbox script: said in words the script can tell from a log-in page."""
    if not isinstance(response, HttpResponseRedirect):
        return response
    done = JsonResponse({"next": response.url})
    done.headers["Farm-Outbox"] = "done"
    return done


def not_theirs() -> JsonResponse:
    """A waiting form of somebody who is not logged in now: it stays on the phone until they are."""
    return JsonResponse({"detail": "Log in as the person who wrote this."}, status=401)


@lru_cache(maxsize=1)
def _version() -> str:
    """Changes whenever a file of the shell or the worker itself changes."""
    found = sha256(get_template("worker.js").template.source.encode())
    for name in SHELL:
        path = finders.find(name)
        found.update(Path(path).read_bytes() if isinstance(path, str) else name.encode())
        found.update(static(name).encode())
    return found.hexdigest()[:16]


@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. It stands at the root so that every page is in its scope."""
    shell = [static(name) for name in SHELL] + [NO_CONNECTION]
    context = {"version": json.dumps(_version()), "shell": json.dumps(shell), "none": json.dumps(NO_CONNECTION)}
    response = render(request, "worker.js", context, content_type="text/javascript; charset=utf-8")
    response.headers["Service-Worker-Allowed"] = "/"
    response.headers["Cache-Control"] = "no-cache"
    return response


@require_GET
def no_connection(request: HttpRequest) -> HttpResponse:
    """What stands in for any page of which the phone has no copy. It belongs to no farm and no person."""
    return render(request, "no_connection.html")
