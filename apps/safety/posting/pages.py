"""Pages of notices: which signs go up, stand and come down."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.safety.posting import queries, services
from apps.safety.rules.notice import Notice
from farmops.errors import Refused
from farmops.web import FarmPage

MOST = 200
NAMES = {
    Notice.EITHER: _("Spoken notice or a sign, as the farm chooses"),
    Notice.POSTED: _("Warning sign"),
    Notice.BOTH: _("Warning sign and spoken notice"),
}
ACTS = {"up": services.put_up_sign, "down": services.take_down_sign, "told": services.tell_workers}
DONE = {
    "up": _("Recorded: the sign stands. The block is closed until it is down."),
    "down": _("Recorded: the sign is down."),
    "told": _("Recorded: the workers were told."),
}


class Signs(FarmPage):
    """Everything that is owed or stands, with one button for each step."""

    needs = {"GET": Can.READ_FARM, "POST": Can.POST_NOTICES}
    template_name = "safety/posting/signs.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return self.page(self.context())

    def context(self) -> dict[str, Any]:
        rows = list(queries.standing(self.farm, self.now)[:MOST])
        lines = [{"said": s, "needs": NAMES[Notice(s.row.needs)]} for s in queries.shown(rows, self.now)]
        return {"lines": lines, "may_act": self.member.can(Can.POST_NOTICES)}

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        act = request.POST.get("act", "")
        posting = request.POST.get("posting", "")
        if act not in ACTS or not posting.isdecimal():
            return self.page(self.context(), status=400)
        try:
            answer = self.act_once(lambda: self._act(act, int(posting)))
        except Refused as error:
            return self.page({**self.context(), "findings": error.findings}, status=409)
        messages.success(request, gettext(DONE[act]))
        return answer

    def _act(self, act: str, posting_id: int) -> str:
        ACTS[act](member=self.member, posting_id=posting_id, now=self.now)  # type: ignore[operator]
        return reverse("safety:signs", args=[self.farm.slug])
