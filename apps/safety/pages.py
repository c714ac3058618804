"""Pages of the board: first for staff, on a phone, text before colour."""

from __future__ import annotations

import logging
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.land import queries as land
from apps.people.rules import Can
from apps.safety import forms, queries, services, wording
from apps.safety.asked import work_asked
from apps.safety.rules import CONDITIONS, Activity, Answer, Word
from farmops.errors import FarmError
from farmops.web import FarmPage, FormPage

log = logging.getLogger(__name__)

LOOKS = {Word.YES: "allowed", Word.NO: "out", Word.UNKNOWN: "unknown"}


def seconds_left(answer: Answer, now: datetime) -> int:
    """Whole seconds for which the page may show the answer, rounded down."""
    return max(0, int((answer.good_until - now).total_seconds()))


class _Answering(FarmPage):
    """A page with answers. Whatever breaks while it is made, keep out is what it says."""

    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return self.page(self.answers(**kwargs))
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
        shown = [self.line(line) for line in queries.board(self.farm, at=self.now, now=self.now)]
        shut = [line["entry"] for line in shown if line["entry"].keep_out]
        zone = wording.zone_of(self.farm)
        first = min((a for a in shut if a.opens_at), key=lambda a: a.opens_at, default=None)
        return {
            "lines": shown,
            "shut": len(shut),
            "next": wording.opening(first, zone) if first else "",
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
        activity = work_asked(self.request.GET)
        entry = queries.entry_answer(ground, activity=activity, at=self.now, now=self.now)
        harvest = queries.harvest_answer(ground, at=self.now, now=self.now)
        waits = any(b.code in CONDITIONS for b in entry.because)
        return {
            "ground": ground,  # Django keeps the name "block" for its own tag
            "activity": activity,
            "work": wording.work_name(activity),
            "works": [(code.value, wording.ACTIVITY_NAMES[code]) for code in Activity],
            "fixed": wording,
            "answer": entry,
            "said": self.said(entry),
            "harvest": harvest,
            "picking": self.said(harvest, harvest=True),
            "may_confirm": waits and self.member.can(Can.SPRAY),
        }

    def said(self, answer: Answer, *, harvest: bool = False) -> dict[str, Any]:
        zone = wording.zone_of(self.farm)
        return {
            "look": LOOKS[answer.answer],
            "seconds": seconds_left(answer, self.now),
            "headline": wording.headline(answer, harvest=harvest),
            "second": wording.second_line(answer, zone),
            "remaining": wording.remaining(answer),
            "good_until": wording.good_until(answer, zone),
            "checked": wording.checked(answer, zone),
            "reasons": [{"both": wording.both(b, zone), "because": b} for b in answer.because],
        }


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
