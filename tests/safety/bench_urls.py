"""The site with two bare doors beside it: the floors of the benchmark."""

from __future__ import annotations

from typing import Any

import orjson
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path

from apps.land.models import Block
from apps.safety.models import Closure
from farmops import clock
from farmops.urls import urlpatterns as site


def bare(request: HttpRequest, pk: int) -> HttpResponse:
    """Who asks, one indexed row, JSON."""
    if not request.user.is_authenticated:
        return HttpResponse(status=403)
    row: dict[str, Any] = Block.rows.filter(pk=pk).values("id", "code", "name", "version").get()
    return JsonResponse(row)


def rows(request: HttpRequest, farm: int) -> HttpResponse:
    """Who asks, and the same rows the board reads, by ``values()`` and orjson."""
    if not request.user.is_authenticated:
        return HttpResponse(status=403)
    blocks = list(Block.rows.filter(farm_id=farm, archived_at=None).values())
    hung = list(Closure.rows.filter(farm_id=farm, lifted_at=None, speaks_until__gt=clock.now()).values())
    return HttpResponse(
        orjson.dumps({"blocks": blocks, "closures": hung}, default=str), content_type="application/json"
    )


urlpatterns = [path("bare/<int:pk>/", bare), path("bare-rows/<int:farm>/", rows), *site]
