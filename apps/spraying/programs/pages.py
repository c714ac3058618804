"""Pages of season programs: the list, one program, its check, decisions, and the job of a window."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext, gettext_noop

from apps.crops import counts
from apps.people.rules import Can
from apps.products.queries import today
from apps.spraying.forms import LINES
from apps.spraying.models import Program
from apps.spraying.pages import PlanJob
from apps.spraying.programs import charts, checking, queries, services
from apps.spraying.programs.queries import Followed
from apps.spraying.programs.rules import (
    CHOICE_NAMES,
    END_NAMES,
    START_NAMES,
    STATE_NAMES,
    Choice,
    StartKind,
    State,
    Window,
)
from apps.spraying.rules.interval import Phase
from farmops import clock
from farmops.errors import Unknown, refusals
from farmops.web import FarmPage

PLAN = {"GET": Can.PLAN_JOBS, "POST": Can.PLAN_JOBS}
LEADS = timedelta(hours=4)
DAWN = time(7)
PHASE_WORDS = {Phase.OPEN: gettext_noop("open now"), Phase.CLOSING: gettext_noop("closing")}


def shown(f: Followed, today: date) -> dict[str, Any]:
    """A block's course with the words a page shows for it."""
    course = f.course
    phase = course.next.phase(today) if course.next else None
    return {
        "f": f,
        "course": course,
        "phase": gettext(PHASE_WORDS[phase]) if phase else "",
        "end": END_NAMES[course.end.reason] if course.end else "",
        "rows": [_row(w) for w in (*course.behind, *course.planned)],
        "asks": course.open_asks,
        "count": f.open_count(today) if course.end is None else None,
        "late": course.next is not None and course.next.again,
    }


def _row(window: Window) -> dict[str, Any]:
    return {
        "w": window,
        "state": STATE_NAMES[window.state],
        "missed": window.state is State.MISSED,
        "cut": END_NAMES[window.cut] if window.cut else "",
    }


class ProgramList(FarmPage):
    """Every program that is followed, each with the next window of every block."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "spraying/programs/programs.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        day = today(self.farm, self.now)
        rows = list(queries.programs(self.farm))
        found: dict[int, list[dict[str, Any]]] = {row.pk: [] for row in rows}
        for f in queries.followed(self.farm, self.now, rows):
            found[f.program.pk].append(shown(f, day))
        away = queries.every(self.farm).exclude(put_away_at=None)[:20]
        return self.page({"programs": [{"p": row, "blocks": found[row.pk]} for row in rows], "away": away})


class ProgramPage(FarmPage):
    """Base of pages about one program."""

    def program(self) -> Program:
        return queries.program(self.farm, self.kwargs["program"])

    @cached_property
    def day(self) -> date:
        return today(self.farm, self.now)


class OneProgram(ProgramPage):
    """Where the program stands on each block: what was done, missed and skipped, what is next, what is asked."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "spraying/programs/program.html"

    def get(self, request: HttpRequest, farm: str, program: int) -> HttpResponse:
        row = self.program()
        found = queries.followed(self.farm, self.now, [row])
        return self.page(
            {
                "p": row,
                "targets": ", ".join(t.replace("_", " ") for t in row.targets),
                "start": START_NAMES[StartKind(row.start_kind)],
                "threshold": counts.thresholds(self.farm).get(row.start_threshold),
                "blocks": [shown(f, self.day) for f in found],
                "drawing": charts.drawing(found, self.day),
                "decisions": [_worded(d) for d in queries.decisions(row)[:50]],
                "today": self.day,
            }
        )


def _worded(row: Any) -> Any:
    row.words = CHOICE_NAMES[Choice(row.choice)]
    return row


class CheckPage(ProgramPage):
    """The whole program against labels, history, harvest and shed."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "spraying/programs/check.html"

    def get(self, request: HttpRequest, farm: str, program: int) -> HttpResponse:
        found = checking.check_program(self.program(), self.now)
        return self.page({"p": found.program, "season": found, "refused": len(refusals(found.everything))})


class PutProgramAway(ProgramPage):
    needs = {"POST": Can.PLAN_JOBS}

    def post(self, request: HttpRequest, farm: str, program: int) -> HttpResponse:
        row = self.program()
        services.put_program_away(member=self.member, program_id=row.pk, expected_version=row.version, now=self.now)
        messages.success(request, gettext("%s is put away. It is followed no longer.") % row.name)
        return HttpResponseRedirect(reverse("spraying:programs", args=[farm]))


class PlanWindow(PlanJob):
    """The plan of a job, filled in from the next window of a block and of those that wait for the same pass."""

    @cached_property
    def followed(self) -> list[Followed]:
        row = queries.program(self.farm, self.kwargs["program"])
        return queries.followed(self.farm, self.now, [row])

    @cached_property
    def mine(self) -> Followed:
        found = [f for f in self.followed if f.block.pk == self.kwargs["block"]]
        if not found:
            raise Unknown()
        return found[0]

    def start(self) -> dict[str, Any]:
        window = self.mine.course.next
        if window is None:
            return {"blocks": [self.mine.block.pk]}
        day = today(self.farm, self.now)
        along = [f.block.pk for f in self.followed if _waits_along(f, window, day)]
        values = services.job_values(self.mine.program, window.pass_no, along)
        gpa = values["spray_gpa"]
        return {
            "blocks": along,
            "targets": ", ".join(t.replace("_", " ") for t in values["targets"]),
            "spray_gpa": "" if gpa is None else f"{gpa.normalize():f}",
            **line_fields(values["products"]),
            **_first_hours(window, self.now, self.farm.time_zone),
        }

    def whole_plan(self) -> dict[str, Any]:
        """Products beyond the fourth are the program's and not shown."""
        plan: dict[str, Any] = super().whole_plan()
        window = self.mine.course.next
        if window is not None:
            plan["products"] += services.job_values(self.mine.program, window.pass_no, [])["products"][len(LINES) :]
        return plan

    def context(self) -> dict[str, Any]:
        return {**super().context(), "program": self.mine.program, "window": self.mine.course.next}


def _waits_along(f: Followed, window: Window, day: date) -> bool:
    """Whether a block waits for the same pass and could be sprayed in the same days."""
    other = f.course.next
    if other is None or other.pass_no != window.pass_no:
        return False
    return max(other.opens_on, window.opens_on, day) <= min(other.closes_on, window.closes_on)


def line_fields(products: list[dict[str, Any]]) -> dict[str, Any]:
    """Product lines as the fields of a form that has up to four of them."""
    found: dict[str, Any] = {}
    for n, line in zip(LINES, products, strict=False):
        found |= {
            f"product_{n}": line["product_id"],
            f"amount_{n}": f"{line['rate_amount'].normalize():f}",
            f"unit_{n}": line["rate_unit"],
            f"basis_{n}": line["rate_basis"],
        }
    return found


def _first_hours(window: Window, now: datetime, zone: str) -> dict[str, str]:
    """The first morning of the window that is still to come; the manager moves it to suit bees and wind."""
    local = clock.to_local(now, zone)
    day = max(window.opens_on, local.date() if local.time() < DAWN else local.date() + timedelta(days=1))
    begins = datetime.combine(day, DAWN)
    return {
        "window_starts_at": f"{begins:%Y-%m-%dT%H:%M}",
        "window_ends_at": f"{begins + LEADS:%Y-%m-%dT%H:%M}",
    }
