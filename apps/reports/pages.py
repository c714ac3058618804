"""Pages of the trail and of the files to take away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.translation import gettext

from apps.audit import queries as audit
from apps.audit import wording
from apps.audit.models import AuditEvent
from apps.people.rules import Can
from apps.reports import files, forms, queries
from apps.reports.period import read_period
from farmops import clock
from farmops.errors import BadInput
from farmops.web import FarmPage, put_errors

LINES = 50


@dataclass(frozen=True, kw_only=True)
class Change:
    """One column of an event: what stood there and what stands there now."""

    name: str
    before: Any
    after: Any


def changes_in(event: AuditEvent) -> list[Change]:
    """The columns an event tells of, by name."""
    names = sorted(set(event.before) | set(event.after))
    return [Change(name=n, before=event.before.get(n), after=event.after.get(n)) for n in names]


class Audit(FarmPage):
    """Who did what, newest first, ``LINES`` lines a page. Filters and place stand in the address."""

    needs = {"GET": Can.READ_AUDIT}
    template_name = "reports/audit.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponseBase:
        form = forms.AuditForm(
            request.GET,
            subject_types=queries.subject_types(self.farm),
            verbs=queries.verbs(self.farm),
            actors=queries.actors(self.farm),
        )
        shown = self._asked(form)
        status = 400 if form.errors else 200
        for event in shown:
            event.changes = changes_in(event)
            event.sentence = wording.sentence(who=event.actor_name, verb=event.verb, what=event.subject_name)
            event.about = self._address(subject_type=event.subject_type, subject_id=event.subject_id)
            event.year = clock.to_local(event.at, self.farm.time_zone).year
        more = len(shown) > LINES
        return self.page(
            {
                "form": form,
                "events": shown[:LINES],
                "older": self._address(before=shown[LINES - 1].pk) if more else "",
                "filtered": any(request.GET.get(n) for n in form.fields),
            },
            status=status,
        )

    def _asked(self, form: forms.AuditForm) -> list[Any]:
        """The lines that were asked for; none when the question cannot be read."""
        if not form.is_valid():
            return []
        asked = form.cleaned_data
        rows = queries.trail(self.farm)
        for name in ("subject_type", "subject_id", "verb"):
            if asked[name]:
                rows = rows.filter(**{name: asked[name]})
        if asked["text"]:
            rows = audit.holding(rows, asked["text"])
        if asked["actor"]:
            rows = rows.filter(actor_id=int(asked["actor"]))
        try:
            rows = read_period(asked).within(rows, "at", self.farm.time_zone)
        except BadInput as error:
            put_errors(form, error)
            return []
        before = self.request.GET.get("before", "")
        if before.isascii() and before.isdigit():
            rows = rows.filter(pk__lt=int(before[:18]))
        return list(rows[: LINES + 1])

    def _address(self, **more: object) -> str:
        asked = self.request.GET.copy()
        asked.pop("before", None)
        for name, value in more.items():
            asked[name] = str(value)
        return "?" + asked.urlencode()


class Exports(FarmPage):
    """What can be taken away as a file."""

    needs = {"GET": Can.READ_RECORDS}
    template_name = "reports/exports.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponseBase:
        return self.page(
            {
                "files": [
                    ("spray-records", gettext("Signed spray records, one line for each version")),
                    ("spray-products", gettext("Products of the signed spray records, one line for each product")),
                    ("stock-ledger", gettext("Stock ledger, one line for each movement")),
                ]
            }
        )


class CsvPage(FarmPage):
    """Base of the files."""

    make: ClassVar[Any]

    def get(self, request: HttpRequest, farm: str) -> HttpResponseBase:
        return files.made(type(self).make, self.farm, request.GET, self.now)


class SprayRecordsPage(CsvPage):
    needs = {"GET": Can.READ_RECORDS}
    make = staticmethod(files.spray_records)


class SprayProductsPage(CsvPage):
    needs = {"GET": Can.READ_RECORDS}
    make = staticmethod(files.spray_products)


class StockLedgerPage(CsvPage):
    needs = {"GET": Can.READ_SHED}
    make = staticmethod(files.stock_ledger)
