"""Pages of work: my tasks first, the board's answer on top of each, and the plan for managers."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext

from apps.land import queries as land
from apps.people import queries as people
from apps.people.rules import Can
from apps.safety import wording
from apps.safety.rules import Word
from apps.work import forms, queries, rules, services
from apps.work.models import Task
from apps.work.rules import OPEN, Standing, State, Step
from farmops import clock
from farmops.errors import BadInput, Finding, Refused, gettext_noop
from farmops.web import FarmPage, FormPage, put_errors

LATELY = timedelta(days=7)
LOOKS = {Word.YES: "allowed", Word.NO: "out", Word.UNKNOWN: "unknown"}


class Tasks(FarmPage):
    """My open tasks, then everybody else's, then what was done lately."""

    needs = {"GET": Can.READ_FARM}
    template_name = "work/tasks.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        opened = list(queries.open_tasks(self.farm))
        me = self.member.person_id
        return self.page(
            {
                "mine": [t for t in opened if t.assigned_to_id == me],
                "others": [t for t in opened if t.assigned_to_id != me],
                "closed": list(queries.closed_since(self.farm, self.now - LATELY)[:50]),
            }
        )


class TaskPage(FarmPage):
    """The page of one task."""

    template_name = "work/task.html"

    @property
    def address(self) -> str:
        return reverse("work:task", args=[self.farm.slug, self.kwargs["task"]])

    def may(self, row: Task, step: Step) -> bool:
        """Whether the button of ``step`` is shown: state and role, not the board."""
        own = row.assigned_to_id == self.member.person_id
        return State(row.state) in rules.MOVES[step].out_of and self.member.can(rules.capability(step, own=own))

    def task_page(self, *, status: int = 200, **more: Any) -> HttpResponse:
        """The task with the board's answer as it is now, while somebody may still walk onto the ground."""
        row = queries.task(self.farm, self.kwargs["task"])
        standing = queries.standing(row, now=self.now) if row.state in OPEN else None
        context = {
            "task": row,
            "steps": queries.steps(row),
            "standing": standing,
            "board": self.board(row, standing) if standing else None,
            "training": self.training(row),
            "may_edit": self.may(row, Step.EDIT),
            "may_start": self.may(row, Step.START),
            "may_finish": self.may(row, Step.FINISH),
            "may_call_off": self.may(row, Step.CALL_OFF),
            "finish_form": forms.FinishForm(),
            "call_off_form": forms.CallOffForm(),
        }
        return self.page({**context, **more}, status=status)

    def training(self, row: Task) -> list[Finding]:
        """What its person must be trained in first: said to them and to whoever plans, not to everybody."""
        asked = row.assigned_to_id == self.member.person_id or self.member.can(Can.PLAN_TASKS)
        return queries.training_needed(row, now=self.now) if asked and row.state == State.PLANNED else []

    def board(self, row: Task, standing: Standing) -> dict[str, Any]:
        """The board's answer in words, in both languages where the crew must read it at a glance."""
        zone, entry, harvest = self.farm.time_zone, standing.entry, standing.harvest
        return {
            "work": wording.work_name(row.activity),
            "headline": wording.headline(entry),
            "second": wording.second_line(entry, zone),
            "remaining": wording.remaining(entry),
            "sign_beats": wording.SIGN_BEATS,
            "good_until": wording.good_until(replace(entry, good_until=standing.good_until), zone),
            "checked": wording.checked(entry, zone),
            "seconds": int((standing.good_until - self.now).total_seconds()),
            "look": LOOKS[entry.answer],
            "picking": wording.headline(harvest, harvest=True) if harvest else None,
            "picking_second": wording.second_line(harvest, zone) if harvest else None,
            "picking_look": LOOKS[harvest.answer] if harvest else "",
            "reasons": [(b, wording.sentence(b, zone)) for b in standing.because],
        }


class OneTask(TaskPage):
    needs = {"GET": Can.READ_FARM}

    def get(self, request: HttpRequest, farm: str, task: int) -> HttpResponse:
        return self.task_page()


class ActOnTask(TaskPage):
    """A button on the task's page. When the answer is no, the page comes back and says why."""

    form_name = ""
    done = ""

    def form(self, data: Any) -> django_forms.Form:
        raise NotImplementedError

    def act(self, cleaned: dict[str, Any]) -> None:
        raise NotImplementedError

    def get(self, request: HttpRequest, farm: str, task: int) -> HttpResponse:
        return HttpResponseRedirect(self.address)

    def post(self, request: HttpRequest, farm: str, task: int) -> HttpResponse:
        form = self.form(request.POST)
        if not form.is_valid():
            return self.task_page(status=400, form=form, **{self.form_name: form})
        try:
            response = self.act_once(lambda: self._acted(form.cleaned_data))
        except BadInput as error:
            put_errors(form, error)
            return self.task_page(status=400, form=form, **{self.form_name: form})
        except Refused as error:
            return self.task_page(status=409, findings=error.findings, refused=True)
        messages.success(request, gettext(self.done))
        return response

    def _acted(self, cleaned: dict[str, Any]) -> str:
        self.act(cleaned)
        return self.address


class StartTask(ActOnTask):
    needs = {"GET": Can.READ_FARM, "POST": Can.DO_TASKS}
    form_name = "start_form"
    done = gettext_noop("Started. Leave the block when a sign goes up or spraying begins.")

    def form(self, data: Any) -> django_forms.Form:
        return django_forms.Form(data)

    def act(self, cleaned: dict[str, Any]) -> None:
        services.start_task(member=self.member, task_id=self.kwargs["task"], now=self.now)


class FinishTask(ActOnTask):
    needs = {"GET": Can.READ_FARM, "POST": Can.DO_TASKS}
    form_name = "finish_form"
    done = gettext_noop("Finished.")

    def form(self, data: Any) -> django_forms.Form:
        return forms.FinishForm(data)

    def act(self, cleaned: dict[str, Any]) -> None:
        services.finish_task(member=self.member, task_id=self.kwargs["task"], now=self.now, note=cleaned["note"])


class CallOffTask(ActOnTask):
    needs = {"GET": Can.READ_FARM, "POST": Can.PLAN_TASKS}
    form_name = "call_off_form"
    done = gettext_noop("Called off. The person is told.")

    def form(self, data: Any) -> django_forms.Form:
        return forms.CallOffForm(data)

    def act(self, cleaned: dict[str, Any]) -> None:
        services.call_off_task(member=self.member, task_id=self.kwargs["task"], now=self.now, reason=cleaned["reason"])


class WriteTask(FormPage):
    """The form of a task: block, work, person and time, the times in the farm's zone."""

    needs = {"GET": Can.PLAN_TASKS, "POST": Can.PLAN_TASKS}
    template_name = "work/write_task.html"

    def start(self) -> dict[str, Any]:
        """What stands in the form at first."""
        raise NotImplementedError

    def form(self, data: Any = None) -> forms.TaskForm:
        return forms.TaskForm(
            data,
            initial=self.start(),
            blocks=[(b.pk, str(b)) for b in land.blocks(self.farm)],
            people=[(m.person_id, m.person.full_name) for m in people.members(self.farm) if m.active],
            zone=self.farm.time_zone,
        )

    def facts(self, cleaned: dict[str, Any]) -> dict[str, Any]:
        """The typed values with farm-local times turned into instants."""
        for name in ("starts_at", "ends_at"):
            if cleaned[name] is not None:
                cleaned[name] = clock.to_utc(cleaned[name], self.farm.time_zone, field=name)
        return cleaned

    def to_task(self, task_id: int) -> str:
        return reverse("work:task", args=[self.farm.slug, task_id])


class PlanTask(WriteTask):
    done = gettext_noop("The task is planned and the person is told.")

    def start(self) -> dict[str, Any]:
        return {"block_id": self.request.GET.get("block", "")}

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned.pop("version")
        return self.to_task(services.plan_task(member=self.member, now=self.now, **self.facts(cleaned)).pk)


class EditTask(WriteTask):
    done = gettext_noop("The task is changed.")

    def start(self) -> dict[str, Any]:
        row = queries.task(self.farm, self.kwargs["task"])
        start = {name: getattr(row, name) for name in (*services.FACTS, "version")}
        zone = self.farm.time_zone
        return start | {name: forms.local(start[name], zone) for name in ("starts_at", "ends_at")}

    def context(self) -> dict[str, Any]:
        return {"task_id": self.kwargs["task"]}

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version") or 0
        row = services.edit_task(
            member=self.member,
            task_id=self.kwargs["task"],
            expected_version=version,
            changes=self.facts(cleaned),
            now=self.now,
        )
        return self.to_task(row.pk)
