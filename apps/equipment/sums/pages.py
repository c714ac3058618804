"""Pages of the sums: the list, and one page for each method. A sum is asked by its address and nothing is stored."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse

from apps.equipment.sums.forms import GROUP_NAMES, SumForm
from apps.equipment.sums.rules import SUMS, Group, Sum, work_out
from apps.people.rules import Can
from farmops.errors import BadInput, Unknown, gettext_noop
from farmops.web import FarmPage, put_errors


class Sums(FarmPage):
    """Every sum by what it is for."""

    needs = {"GET": Can.READ_FARM}
    template_name = "equipment/sums.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        groups = [(GROUP_NAMES[group], [s for s in SUMS.values() if s.group is group]) for group in Group]
        return self.page({"groups": groups})


class OneSum(FarmPage):
    """What the sum asks, and below it the answer with formula and working."""

    needs = {"GET": Can.READ_FARM}
    template_name = "equipment/sum.html"

    def get(self, request: HttpRequest, farm: str, sum: str) -> HttpResponse:
        made = SUMS.get(sum)
        if made is None:
            raise Unknown(gettext_noop("There is no such sum."))
        if not request.GET:
            return self.page({"sum": made, "form": SumForm(made=made)})
        return self._answer(made, request.GET)

    def _answer(self, made: Sum, typed: Any) -> HttpResponse:
        form = SumForm(typed, made=made)
        form.full_clean()
        try:
            worked = work_out(made, {name: typed.get(name, "") for name in form.fields})
        except BadInput as error:
            put_errors(form, error)
            return self.page({"sum": made, "form": form}, status=400)
        return self.page({"sum": made, "form": form, "worked": worked})
