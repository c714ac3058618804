"""Pages of the applicator: start, finish, read back and sign; and the signed records."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext, gettext_noop

from apps.people.rules import Can
from apps.spraying import content, forms, heads, proof, queries, services, shapes
from apps.spraying.amending import queries as amending
from apps.spraying.amending.forms import CorrectForm
from apps.spraying.api_records import read_kept
from apps.spraying.models import Job, SprayRecord
from apps.spraying.pages import StepPage, applicators, decorated
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.signing import read_back
from apps.spraying.rules.states import JobState, Step
from apps.spraying.services.sign import shown
from apps.work.forms import local
from farmops import clock
from farmops.errors import BadInput, Stale
from farmops.web import FarmPage, FormPage, put_errors

_PAIR = re.compile(r"\[\s+(\d+),\s+(\d+)\s+\]")
"""Two numbers on a line each: they are said on one, so that the head fits a phone."""
WALKED_AT_ONCE = 300
"""Longer books are checked on the page of the proof, not with every list (project rule)."""


class StartJob(StepPage):
    needs = {"GET": Can.SPRAY, "POST": Can.SPRAY}
    template_name = "spraying/start.html"
    step = Step.START
    done = gettext_noop("Started. The blocks are closed. Press finish when the last pass is done.")

    def form(self, data: Any = None) -> forms.StartForm:
        return forms.StartForm(data, initial={"version": self.job().version})

    def act(self, cleaned: dict[str, Any]) -> str:
        version, reason, inside = (cleaned.pop(name) for name in ("version", "reason", "inside_buildings"))
        services.start_spraying(
            member=self.member,
            job_id=self.kwargs["job"],
            readings=cleaned,
            inside_buildings=inside,
            reason=reason,
            expected_version=version,
            now=self.now,
        )
        return self.to_job()


class ReportPage(StepPage):
    """Base of the pages that report what was done."""

    needs = {"GET": Can.SPRAY, "POST": Can.SPRAY}
    template_name = "spraying/finish.html"
    form_class: type[forms.DoneForm] = forms.DoneForm

    def form(self, data: Any = None) -> forms.DoneForm:
        job = self.job()
        back = clocks_went_back(self.farm.time_zone, self.now)
        return self.form_class(data, initial=self.start(job), job=job, twice=back)

    def start(self, job: Job) -> dict[str, Any]:
        """Facts only: the version and the time the start was pressed. Outcomes start empty."""
        return {"version": job.version, "started_at": local(job.started_at, self.farm.time_zone)}

    def context(self) -> dict[str, Any]:
        words = {
            Step.FINISH: gettext_noop("Finish spraying"),
            Step.CORRECT: gettext_noop("Correct what was reported"),
            Step.REPORT_LATE: gettext_noop("Report a spray that was not started here"),
            Step.AMEND: gettext_noop("Correct the signed record"),
        }
        return {**super().context(), "words": words[self.step]}

    def typed(self) -> forms.DoneForm:
        form = self.form(self.request.POST)
        form.is_valid()
        return form

    def done_values(self, form: forms.DoneForm) -> dict[str, Any]:
        done = form.done()
        for name in ("started_at", "ended_at"):
            done[name] = clock.to_utc(done[name], self.farm.time_zone, field=name, fold=form.which(name))
        return done

    def act(self, cleaned: dict[str, Any]) -> str:
        form = self.typed()
        try:
            self.report(form, self.done_values(form), cleaned["version"])
        except BadInput as error:
            raise self.on_this_form(error) from None
        return reverse("spraying:sign", args=[self.farm.slug, self.kwargs["job"]])

    def report(self, form: Any, done: dict[str, Any], version: int) -> None:
        services.finish_spraying(
            member=self.member, job_id=self.kwargs["job"], done=done, expected_version=version, now=self.now
        )

    def on_this_form(self, error: BadInput) -> BadInput:
        """``blocks.0.treated_acres`` is the field ``acres_<block>``, ``products.1.amount`` is ``amount_<product>``."""
        job = self.job()
        blocks = [row.block_id for row in job.job_blocks.all()]
        lines = [row.product_id for row in job.job_products.all()]
        found: dict[str, list[str]] = {}
        for name, said in error.errors.items():
            kind, *rest = name.split(".")
            if kind == "blocks":
                name = f"acres_{blocks[int(rest[0])]}" if rest else f"area_{blocks[0]}"
            elif kind == "products":
                name = f"{rest[1]}_{lines[int(rest[0])]}" if len(rest) == 2 else f"amount_{lines[0]}"
            found.setdefault(name, []).extend(said)
        return BadInput(found)


class FinishJob(ReportPage):
    step = Step.FINISH


class CorrectJob(ReportPage):
    """The same form with what was reported filled in, since each value is now a fact to check.

    Also for somebody the job does not name, who really did or supervised it: they put the people right.
    """

    step = Step.CORRECT

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        services.must_be_possible(self.job(), self.step, self.member, [self.member.person_id])
        return FormPage.get(self, request, *args, **kwargs)

    def form(self, data: Any = None) -> forms.DoneForm:
        job = self.job()
        back = clocks_went_back(self.farm.time_zone, self.now)
        return CorrectForm(data, initial=self.start(job), job=job, twice=back, people=self.applicators())

    def context(self) -> dict[str, Any]:
        stranger = not queries.names(self.job(), self.member.person_id)
        return {**super().context(), "stranger": stranger}

    def report(self, form: Any, done: dict[str, Any], version: int) -> None:
        services.correct_finish(
            member=self.member,
            job_id=self.kwargs["job"],
            done=done,
            named=form.named(),
            reason=form.cleaned_data["reason"],
            expected_version=version,
            now=self.now,
        )

    def applicators(self) -> list[tuple[int, str]]:
        return [(m.person_id, m.person.full_name) for m in applicators(self.farm)]

    def act(self, cleaned: dict[str, Any]) -> str:
        """Whoever may sign goes on to the read-back; who handed it over goes to the job."""
        onward = super().act(cleaned)
        return onward if queries.names(self.job(), self.member.person_id) else self.to_job()

    def start(self, job: Job) -> dict[str, Any]:
        zone = self.farm.time_zone
        found = {
            **super().start(job),
            "ended_at": local(job.ended_at, zone),
            "loads": f"{job.loads.normalize():f}",
            "sprayed_gal": "" if job.sprayed_gal is None else f"{job.sprayed_gal.normalize():f}",
            "deviation_reason": job.deviation_reason,
            **{f"end_{name}": job.end_readings.get(name, "") for name in ("wind_mph", "temperature_f")},
        }
        for row in job.job_blocks.all():
            whole = row.treated_acres == row.planned_acres
            found[f"area_{row.block_id}"] = "all" if whole else "part" if row.treated_acres else "none"
            found[f"acres_{row.block_id}"] = "" if whole else f"{row.treated_acres.normalize():f}"
            found[f"part_{row.block_id}"] = row.part_note
        for line in job.job_products.all():
            found[f"amount_{line.product_id}"] = f"{line.actual_amount.normalize():f}"
            found[f"unit_{line.product_id}"] = line.actual_unit
        return found


class ReportJobLate(ReportPage):
    step = Step.REPORT_LATE
    form_class = forms.LateForm

    def start(self, job: Job) -> dict[str, Any]:
        return {"version": job.version}

    def report(self, form: forms.DoneForm, done: dict[str, Any], version: int) -> None:
        typed = form.cleaned_data
        services.report_late(
            member=self.member,
            job_id=self.kwargs["job"],
            readings={name: typed[name] for name in forms.ReadingsForm.base_fields},
            done=done,
            reason=typed["reason"],
            expected_version=version,
            now=self.now,
        )


def clocks_went_back(zone_name: str, now: datetime) -> bool:
    """Whether an hour happened twice on the farm within the last two days."""
    zone = clock.zone(zone_name)
    before, after = (now - timedelta(days=2)).astimezone(zone).utcoffset(), now.astimezone(zone).utcoffset()
    return before is not None and after is not None and after < before


class SignPage(StepPage):
    """The record in sentences, what follows from it, and only then the button."""

    needs = {"GET": Can.SIGN, "POST": Can.SIGN}
    template_name = "spraying/sign.html"
    step = Step.SIGN
    meaning = Meaning.APPLIED

    def read(self) -> dict[str, Any]:
        """What is signed, read once for form and page."""
        if not hasattr(self, "_read"):
            job = decorated(self.job())
            services.must_be_possible(job, self.step, self.member)
            body, body_hash, signing = shown(job, self.member, self.meaning)
            back = read_back(body)
            self._read = {"job": job, "body_hash": body_hash, "signing": signing, "back": back}
        return self._read

    def form(self, data: Any = None) -> forms.SignForm:
        read = self.read()
        return forms.SignForm(data, initial={"version": read["job"].version, "body_hash": read["body_hash"]})

    def context(self) -> dict[str, Any]:
        read = self.read()
        today = clock.to_local(self.now, self.farm.time_zone).date()
        back, job, signing = read["back"], read["job"], read["signing"]
        return {
            "job": job,
            "sentences": [(shapes.said(s), s.unusual) for s in back.sentences],
            "consequences": [shapes.said(s) for s in back.consequences],
            "statement": shapes.said(back.statement),
            "signing": signing,
            "flags": [*content.flags(job), *content.since_applied(job, signing, today)],
        }

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return super().post(request, *args, **kwargs)
        except Stale as error:
            messages.warning(request, gettext(str(error)))
            return HttpResponseRedirect(request.path)

    def act(self, cleaned: dict[str, Any]) -> str:
        record = services.sign_off(member=self.member, **self.signature(cleaned))
        return reverse("spraying:signed", args=[self.farm.slug, record.job_id])

    def signature(self, cleaned: dict[str, Any]) -> dict[str, Any]:
        return {
            "job_id": self.kwargs["job"],
            "password": cleaned["password"],
            "checked": cleaned["checked"],
            "body_hash": cleaned["body_hash"],
            "expected_version": cleaned["version"],
            "now": self.now,
        }


class NotAppliedPage(SignPage):
    template_name = "spraying/not_applied.html"
    step = Step.NOT_APPLIED
    meaning = Meaning.NOT_APPLIED

    def form(self, data: Any = None) -> forms.NotAppliedForm:
        read = self.read()
        return forms.NotAppliedForm(data, initial={"version": read["job"].version, "body_hash": read["body_hash"]})

    def act(self, cleaned: dict[str, Any]) -> str:
        record = services.sign_not_applied(member=self.member, reason=cleaned["reason"], **self.signature(cleaned))
        return reverse("spraying:signed", args=[self.farm.slug, record.job_id])


class Signed(FarmPage):
    """After signing: the record's number, what is closed until when, who was told."""

    needs = {"GET": Can.READ_RECORDS}
    template_name = "spraying/signed.html"

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        row = decorated(queries.job(self.farm, job))
        record = queries.record_of(row)
        back = read_back(json.loads(record.body_text)["content"], to_signer=False) if record else None
        consequences = [shapes.said(s) for s in back.consequences] if back else []
        return self.page({"job": row, "record": record, "consequences": consequences})


class Records(FarmPage):
    needs = {"GET": Can.READ_RECORDS}
    template_name = "spraying/records.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        found = list(queries.records(self.farm)[:200])
        newer = set(amending.standing(self.farm).filter(pk__in=[r.pk for r in found]).values_list("pk", flat=True))
        for row in found:
            row.superseded = row.pk not in newer
            row.open_again = open_again(row, superseded=row.superseded)
            row.blocks, row.ended_at = as_signed(row)
        return self.page({"records": found, "chain": self.chain()})

    def chain(self) -> proof.Chain | None:
        """Walked at once while the book is small; a large one is checked on its own page."""
        few = queries.records(self.farm).count() <= WALKED_AT_ONCE
        return proof.chain(self.farm) if few else None


def as_signed(row: SprayRecord) -> tuple[list[str], datetime | None]:
    """The blocks and the end as the record says them: the job may have been opened again since."""
    content = json.loads(row.body_text)["content"]
    names = [" ".join(str(b[k]) for k in ("code", "name") if b.get(k)) for b in content["blocks"]]
    ended = content.get("ended_at") if row.meaning == Meaning.APPLIED else None
    return names, datetime.fromisoformat(ended) if ended else None


def open_again(row: SprayRecord, *, superseded: bool) -> bool:
    """Whether the newest edition is being corrected now: it is unsigned until that is signed."""
    return not superseded and row.meaning != Meaning.VOIDED and row.job.state == JobState.SPRAYED


class Proof(FarmPage):
    """Everything derived again, the head to keep elsewhere, and an earlier head held against the book."""

    needs = {"GET": Can.READ_RECORDS, "POST": Can.READ_RECORDS}
    template_name = "spraying/proof.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.answer(forms.HeadForm())

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        form = forms.HeadForm(request.POST)
        if not form.is_valid():
            return self.answer(form, status=400)
        try:
            kept = read_kept(form.kept(), self.farm.slug)
        except BadInput as error:
            put_errors(form, error)
            return self.answer(form, status=400)
        return self.answer(form, compared=True, against=heads.compare(self.farm, kept))

    def answer(self, form: forms.HeadForm, *, status: int = 200, **more: Any) -> HttpResponse:
        head = heads.head_of(self.farm, self.now)
        text = _PAIR.sub(r"[\1, \2]", json.dumps(head.as_json(), indent=1))
        faults = list(proof.farm_faults(self.farm)) + [f for f in [proof.trigger_fault()] if f]
        return self.page({"form": form, "head": head, "text": text, "faults": faults, **more}, status=status)


class Record(FarmPage):
    """One signed record: in sentences, with its proof, and as its exact text."""

    needs = {"GET": Can.READ_RECORDS}
    template_name = "spraying/record.html"

    def get(self, request: HttpRequest, farm: str, seq: int) -> HttpResponse:
        row = queries.record(self.farm, seq)
        body = json.loads(row.body_text)
        back = read_back(body["content"], to_signer=False)
        newer = row.newer.order_by("edition").first()
        return self.page(
            {
                "record": row,
                "body": body,
                "newer": newer,
                "open_again": open_again(row, superseded=newer is not None),
                "sentences": [(shapes.said(s), s.unusual) for s in back.sentences],
                "consequences": [shapes.said(s) for s in back.consequences],
                "statement": shapes.said(back.statement),
            }
        )
