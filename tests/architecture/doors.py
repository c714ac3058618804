"""Lists every door of the site from the URL table, so that no test can forget one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.converters import IntConverter

from farmops.web import FarmAPI, FarmPage


@dataclass(frozen=True)
class Door:
    route: str
    view: Any
    converters: tuple[tuple[str, Any], ...]

    @property
    def is_api(self) -> bool:
        return self.route.startswith("api/")

    @property
    def of_farm(self) -> bool:
        return "<slug:farm>" in self.route

    def address(self, farm: str, **values: object) -> str:
        """The path with ``farm`` and, for every other part, ``values`` or a number nothing has."""
        path = self.route
        for name, converter in self.converters:
            filler: object = 987654321 if isinstance(converter, IntConverter) else "nothing"
            value = farm if name == "farm" else values.get(name, filler)
            start = path.index("<")
            path = path[:start] + str(value) + path[path.index(">") + 1 :]
        return "/" + path

    def __str__(self) -> str:
        return self.route


def _walk(patterns: list[Any], prefix: str = "", converters: tuple[tuple[str, Any], ...] = ()) -> Iterator[Door]:
    for entry in patterns:
        route = prefix + str(entry.pattern)
        found = converters + tuple(entry.pattern.converters.items())
        if isinstance(entry, URLResolver):
            yield from _walk(entry.url_patterns, route, found)
        elif isinstance(entry, URLPattern):
            callback: Any = entry.callback
            view = getattr(callback, "view_class", getattr(callback, "cls", callback))
            yield Door(route=route, view=view, converters=found)


def all_doors() -> list[Door]:
    return list(_walk(get_resolver().url_patterns))


def farm_doors() -> list[Door]:
    return [d for d in all_doors() if d.of_farm]


def methods_of(door: Door) -> list[str]:
    """The HTTP methods a door answers."""
    return [m.upper() for m in ("get", "post", "patch", "put", "delete") if hasattr(door.view, m)]


def is_guarded(door: Door) -> bool:
    return isinstance(door.view, type) and issubclass(door.view, FarmAPI | FarmPage)
