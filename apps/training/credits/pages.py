"""Pages of credits."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from apps.training.credits import forms, services
from apps.training.forms import StrikeForm
from apps.training.pages import CardForm
from apps.training.queries import today


class AddCredit(CardForm):
    title = _("Record credits of a course")
    button = _("Record the credits")
    done = _("The credits are recorded.")

    def form(self, data: Any = None) -> forms.CreditForm:
        day = today(self.farm, self.now)
        start = {"person_id": self.asked_person(), "jurisdiction": self.farm.jurisdiction, "held_on": day}
        return forms.CreditForm(data, people=self.people(), initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.record_credit(member=self.member, now=self.now, **cleaned)
        return self.to_card(cleaned["person_id"])


class StrikeCredit(CardForm):
    title = _("Strike credits")
    button = _("They do not count")
    done = _("Struck.")

    def form(self, data: Any = None) -> StrikeForm:
        return StrikeForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.strike_credit(member=self.member, credit_id=self.kwargs["credit"], now=self.now, **cleaned)
        return self.to_card(row.person_id)
