"""Pages of the board: first for staff, on a phone, text before colour."""

from __future__ import annotations

import logging
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.land import queries as land
from apps.people.rules import Can
from apps.safety import forms, queries, services, wording
from apps.safety.rules import CONDITIONS, Answer
from apps.safety.seen.rules import How
from apps.safety.seen.services import keep_answer
from apps.safety.showing import answer_context, mark_of, say, seconds_left
from farmops.errors import FarmError
from farmops.web import FarmPage, FormPage

log = logging.getLogger(__name__)


class _Answering(FarmPage):
    """A page with answers. Whatever breaks while it is made, keep out is what it says."""

    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            shown = self.answers(**kwargs)
            return say(self.page(shown), shown)
        except FarmError:
            raise
        except Exception:
            log.exception("a page of the board could not be made")
            return render(request, "safety/no_answer.html", {"farm": self.farm, "fixed": wording}, status=503)

    def answers(self, **kwargs: Any) -> dict[str, Any]:
        raise NotImplementedError


class BoardPage(_Answering):
    """Every block: its state in words, when it opens, and the wait before picking."""

    template_name = "safety/board.html"

    def answers(self, **kwargs: Any) -> dict[str, Any]:
        lines = queries.board(self.farm, at=self.now, now=self.now)
        shown = [self.line(line) for line in lines]
        shut = [line["entry"] for line in shown if line["entry"].keep_out]
        zone = wording.zone_of(self.farm)
        first = min((a for a in shut if a.opens_at), key=lambda a: a.opens_at, default=None)
        return {
            "lines": shown,
            "shut": len(shut),
            "next": wording.opening(first, zone) if first else "",
            "mark": mark_of(a for line in lines for a in (line.entry, line.harvest)),
            "checked": wording.moment(self.now, zone),
            "fixed": wording,
        }

    def line(self, line: queries.Line) -> dict[str, Any]:
        zone = wording.zone_of(self.farm)
        entry, harvest = line.entry, line.harvest
        return {
            "block": line.block,
            "entry": entry,
            "harvest": harvest,
            "state": wording.STATE_NAMES[entry.answer],
            "opens": wording.opening(entry, zone),
            "picking_opens": wording.opening(harvest, zone),
            "seconds": seconds_left(entry, self.now),
            "reasons": [wording.sentence(b, zone) for b in entry.because],
        }


class MayEnter(_Answering):
    """The answer for one block and one kind of work; picking is a second answer on its own."""

    template_name = "safety/may_enter.html"

    def answers(self, **kwargs: Any) -> dict[str, Any]:
        ground = land.block(self.farm, kwargs["block"])
        shown = answer_context(ground, self.request.GET, self.now)
        if self.request.method == "GET":  # HEAD is a page on screen that asks again: it shows nothing new
            keep_answer(
                member=self.member,
                block=ground,
                answer=shown["answer"],
                activity=shown["activity"],
                rest=shown["rest"],
                how=How.PAGE,
                now=self.now,
            )
        waits = any(b.code in CONDITIONS for b in shown["answer"].because)
        return {
            **shown,
            "early_entry": self.early_entry(shown["answer"]),
            "may_confirm": waits and self.member.can(Can.SPRAY),
            "elsewhere": reverse("safety:board", args=[self.farm.slug]),
        }

    def early_entry(self, said: Answer) -> str:
        """Where a supervisor may look at early entry into closed ground; empty for everybody else."""
        if not said.keep_out or not self.member.can(Can.SUPERVISE_ENTRY):
            return ""
        return reverse("safety:early_entry", args=[self.farm.slug, self.kwargs["block"]])


class Confirm(FormPage):
    """An applicator confirms that what a label waits for (dry, an air level) has been reached on a block."""

    needs = {"GET": Can.SPRAY, "POST": Can.SPRAY}
    template_name = "safety/confirm.html"
    done = _("Recorded. The board has your name and the time.")

    def form(self, data: Any = None) -> forms.ConfirmForm:
        waiting = queries.conditions_on(land.block(self.farm, self.kwargs["block"]), self.now)
        return forms.ConfirmForm(data, waiting=[(row.pk, forms.condition_name(row.facts)) for row in waiting])

    def context(self) -> dict[str, Any]:
        return {"ground": land.block(self.farm, self.kwargs["block"])}

    def act(self, cleaned: dict[str, Any]) -> str:
        services.attest_conditions(member=self.member, closure_ids=cleaned["seen"], now=self.now)
        return reverse("safety:may_enter", args=[self.farm.slug, self.kwargs["block"]])
