"""Each role's first page, and the managers' charts."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.urls import reverse

from apps.dashboard import queries
from apps.people.rules import Can
from apps.spraying.models import Job
from apps.spraying.pages import ACTIONS, FIRST, decorated
from apps.spraying.rules.states import open_steps
from farmops import csv_rows
from farmops.web import FarmPage


class Home(FarmPage):
    """What this person needs first: a manager the farm, an applicator the next job, staff the board."""

    needs = {"GET": Can.READ_FARM}
    template_name = "dashboard/home.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponseBase:
        manages, sprays = self.member.can(Can.PLAN_JOBS), self.member.can(Can.SPRAY)
        mine = queries.my_day(self.member, self.now)
        return self.page(
            {
                "home": self._home() if manages else None,
                "manages": manages,
                "sprays": sprays,
                "mine": mine,
                "job": decorated(mine.job) if mine.job and sprays else None,
                "action": self._action(mine.job) if mine.job and sprays else None,
            }
        )

    def _home(self) -> queries.Home:
        found = queries.home(self.farm, self.now)
        for job in found.jobs:
            decorated(job)
        return found

    def _action(self, job: Job) -> dict[str, Any] | None:
        """The one next action on a job; ``None`` when it is not this person's turn."""
        steps = open_steps(job.state, roles=self.member.roles, named=True)
        step = next((s for s in FIRST if s in steps), None)
        if step is None:
            return None
        page, words = ACTIONS[step]
        return {"words": words, "url": reverse(f"spraying:{page}", args=[self.farm.slug, job.pk])}


class Charts(FarmPage):
    """Four questions, each with its answer, its drawing and the table it was drawn from.

    The drawing is made by a script from the figure that the API serves; the tables need no script.
    """

    needs = {"GET": Can.READ_CHARTS}
    template_name = "dashboard/charts.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponseBase:
        return self.page({"charts": queries.charts(self.farm, self.now)})


class ChartCsv(FarmPage):
    """The table of one chart as a file."""

    needs = {"GET": Can.READ_CHARTS}

    def get(self, request: HttpRequest, farm: str, name: str) -> HttpResponseBase:
        found = queries.chart(self.farm, name, self.now)
        header = [c.key for c in found.columns]
        rows = ([c.value for c in row] for row in found.rows)
        return csv_rows.download(f"{name}-{farm}", header, rows, as_of=self.now)
