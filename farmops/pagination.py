"""Lists: newest first, page by page, and no filter that is silently ignored."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from django_filters.rest_framework import DjangoFilterBackend
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.views import APIView

from farmops.errors import BadInput, Said, gettext_noop

PAGING = {"cursor", "page_size", "format"}


class NewestFirst(CursorPagination):
    """Cursor paging on the id: stable while rows are added."""

    ordering = "-id"
    page_size_query_param = "page_size"
    max_page_size = 200


def no_filters(unknown: Iterable[str], offered: Iterable[str]) -> BadInput:
    """Each unknown parameter of the address, with those that there are."""
    said = Said(gettext_noop("Not a filter here. Use: {codes}."), codes=", ".join(offered))
    return BadInput(dict.fromkeys(unknown, said))


class StrictFilters(DjangoFilterBackend):
    """A mistyped filter is an error: ignoring it would widen the answer."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: APIView) -> QuerySet[Any]:
        filterset_class = self.get_filterset_class(view, queryset)
        known = set(filterset_class.base_filters) if filterset_class else set()
        unknown = set(request.query_params) - known - PAGING
        if unknown:
            raise no_filters(unknown, sorted(known | {"page_size"}))
        if any("\x00" in value for value in request.query_params.values()):
            raise BadInput({"query": gettext_noop("The address must not hold NUL characters.")})
        return super().filter_queryset(request, queryset, view)
