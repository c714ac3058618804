"""Pages of the board: first for staff, on a phone, text before colour."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse

from apps.land import queries as land
from apps.people.rules import Can
from apps.safety import queries, wording
from apps.safety.asked import work_asked
from apps.safety.rules import Activity, Answer
from farmops.web import FarmPage


class BoardPage(FarmPage):
    """Every block: its state in words, when it opens, and the wait before picking."""

    needs = {"GET": Can.READ_FARM}
    template_name = "safety/board.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        lines = queries.board(self.farm, at=self.now, now=self.now)
        shown = [self.line(line) for line in lines]
        shut = [line for line in shown if line["entry"].keep_out]
        opening = [a["entry"].opens_at for a in shut if a["entry"].opens_at]
        context = {"lines": shown, "shut": len(shut), "next_at": min(opening, default=None)}
        return self.page(context)

    def line(self, line: queries.Line) -> dict[str, Any]:
        zone = self.farm.time_zone
        return {
            "block": line.block,
            "entry": line.entry,
            "harvest": line.harvest,
            "state": wording.STATE_NAMES[line.entry.answer],
            "reasons": [wording.sentence(b, zone) for b in line.entry.because],
        }


class MayEnter(FarmPage):
    """The answer for one block and one kind of work."""

    needs = {"GET": Can.READ_FARM}
    template_name = "safety/may_enter.html"

    def get(self, request: HttpRequest, farm: str, block: int) -> HttpResponse:
        row = land.block(self.farm, block)
        activity = work_asked(request.GET)
        entry = queries.entry_answer(row, activity=activity, at=self.now, now=self.now)
        harvest = queries.harvest_answer(row, activity=activity, at=self.now, now=self.now)
        return self.page(
            {
                "ground": row,  # Django keeps the name "block" for its own tag
                "activity": activity,
                "work": wording.work_name(activity),
                "works": [(code.value, wording.ACTIVITY_NAMES[code]) for code in Activity],
                "answer": entry,
                "look": look(entry),
                "seconds": max(0, int((entry.good_until - self.now).total_seconds())),
                "fixed": wording,
                "said": self.said(entry),
                "harvest": harvest,
                "picking": self.said(harvest, harvest=True),
            }
        )

    def said(self, answer: Answer, *, harvest: bool = False) -> dict[str, Any]:
        zone = self.farm.time_zone
        return {
            "headline": wording.headline(answer, harvest=harvest),
            "second": wording.second_line(answer, zone),
            "remaining": wording.remaining(answer),
            "good_until": wording.good_until(answer, zone),
            "checked": wording.checked(answer, zone),
            "reasons": [
                {"en": wording.sentence(b, zone, "en"), "es": wording.sentence(b, zone, "es"), "because": b}
                for b in answer.because
            ],
        }


def look(answer: Answer) -> str:
    """Which of the three looks: allowed, out (an end or a reason is known), unknown."""
    if not answer.keep_out:
        return "allowed"
    return "unknown" if answer.answer.value == "unknown" else "out"
