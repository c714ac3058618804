"""Pages of record rules and of what is late or missing."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext, gettext_noop

from apps.people.rules import Can
from apps.spraying import queries as spraying
from apps.spraying.records import forms, queries, services
from apps.spraying.records.rules import ELEMENT_NAMES, STATUS_NAMES, DueBy, Standing
from apps.spraying.records.serializers import missing_words
from farmops.web import FarmPage, FormPage

MOST = 200


class LooseEnds(FarmPage):
    """What still needs somebody, the first due first. It shrinks as things are done or explained."""

    needs = {"GET": Can.READ_RECORDS}
    template_name = "spraying/loose_ends.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        opened = queries.open_ends(self.farm, self.now)
        signed = [(e, queries.END_NAMES[e.end], missing_words(e)) for e in queries.record_ends(self.farm, self.now)]
        shown = [(e, queries.END_NAMES[e.end], e.due_at is not None and e.due_at <= self.now) for e in opened]
        return self.page({"open": shown, "signed": signed[:MOST], "count": len(shown) + len(signed)})


class RecordRules(FarmPage):
    """Which rules the farm goes by; a press chooses or leaves one."""

    needs = {"GET": Can.READ_RECORDS, "POST": Can.EDIT_FARM}
    template_name = "spraying/record_rules.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        found = [(c, rule_words(c)) for c in queries.choices(self.farm)]
        return self.page({"used": [f for f in found if f[0].in_use], "others": [f for f in found if not f[0].in_use]})

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        code, use = request.POST.get("code", ""), request.POST.get("in_use") == "yes"

        def act() -> str:
            services.use_rule(member=self.member, code=code, in_use=use, now=self.now)
            return request.path

        return self.act_once(act)


def rule_words(choice: queries.Choice) -> dict[str, Any]:
    """A rule in the reader's words."""
    rule = choice.rule
    due = "" if rule.due is None else f"{rule.due} {forms.DUE[rule.due_by]}"
    return {
        "status": STATUS_NAMES[rule.status],
        "elements": ", ".join(gettext(ELEMENT_NAMES[e]) for e in rule.elements),
        "asks": forms.ASKS[rule.asks],
        "products": forms.PRODUCTS[rule.products],
        "applicators": forms.APPLICATORS[rule.applicators],
        "due": due if rule.due_by is not DueBy.NONE else "",
        "keep_from": forms.KEEP[rule.keep_from],
    }


class AddRecordRule(FormPage):
    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    template_name = "spraying/add_record_rule.html"
    done = gettext_noop("The farm goes by this rule now.")

    def form(self, data: Any = None) -> forms.RuleForm:
        return forms.RuleForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.add_rule(member=self.member, values=cleaned, now=self.now)
        return reverse("spraying:record_rules", args=[self.farm.slug])


class ExplainRecord(FormPage):
    """How one record stands against each rule, and a box to say why it was late or stays blank."""

    needs = {"GET": Can.READ_RECORDS, "POST": Can.READ_RECORDS}
    template_name = "spraying/explain_record.html"
    done = gettext_noop("Written beside the record.")

    def form(self, data: Any = None) -> forms.ExplainForm:
        return forms.ExplainForm(data)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        spraying.record(self.farm, kwargs["seq"])
        return super().get(request, *args, **kwargs)

    def context(self) -> dict[str, Any]:
        row = spraying.record(self.farm, self.kwargs["seq"])
        stands = [(s, named(s)) for s in queries.standings_of(row)]
        return {"record": row, "standings": stands, "notes": queries.notes(row)}

    def act(self, cleaned: dict[str, Any]) -> str:
        services.explain_record(member=self.member, seq=self.kwargs["seq"], words=cleaned["words"], now=self.now)
        return self.request.path


def named(row: Standing) -> dict[str, str]:
    """What is missing and what is kept elsewhere, in the reader's words."""
    return {
        "missing": ", ".join(gettext(ELEMENT_NAMES[e]) for e in row.missing),
        "elsewhere": ", ".join(gettext(ELEMENT_NAMES[e]) for e in row.elsewhere),
    }
