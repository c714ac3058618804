"""Pages of lists of trainings: pick a file, read the answer to every row, then record what is new."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.training.lists import services
from apps.training.lists.rules import NEEDED, OPTIONAL, Outcome
from apps.training.lists.serializers import said
from apps.training.rules import TrainingKind
from farmops.csv_read import MOST_CHARACTERS, decoded
from farmops.errors import BadInput
from farmops.web import FarmPage, put_errors

SHOWN = 200


class ListForm(forms.Form):
    file = forms.FileField(label=_("CSV file"), help_text=_("One row for each person and training, at most 1 MB."))

    def clean_file(self) -> Any:
        found = self.cleaned_data["file"]
        if found.size > MOST_CHARACTERS:
            raise forms.ValidationError(_("The file must be 1 MB or smaller."))
        return found


class TextForm(forms.Form):
    """The list again, as it was read, so that what is recorded is what was answered."""

    name = forms.CharField(widget=forms.HiddenInput, max_length=200)
    text = forms.CharField(widget=forms.HiddenInput, max_length=MOST_CHARACTERS, strip=False)


class CheckList(FarmPage):
    """The file, and the answer to every row of it. Nothing is written here."""

    needs = {"GET": Can.EDIT_CERTIFICATES, "POST": Can.EDIT_CERTIFICATES}
    template_name = "training/list.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.answer(ListForm())

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        form = ListForm(request.POST, request.FILES)
        if not form.is_valid():
            return self.answer(form, status=400)
        upload = form.cleaned_data["file"]
        try:
            text = decoded(upload.read())
            found = services.examine(self.farm, text, self.now)
        except BadInput as error:
            put_errors(form, error)
            return self.answer(form, status=400)
        bad = [(a.row, [(f.column, said(f)) for f in a.faults]) for a in found.answers if a.faults]
        return self.answer(
            form,
            examined=found,
            again=TextForm(initial={"name": upload.name[:200], "text": text}),
            bad=bad[:SHOWN],
            bad_count=len(bad),
            new=found.count(Outcome.NEW),
            there=found.count(Outcome.THERE),
        )

    def answer(self, form: ListForm, *, status: int = 200, **more: Any) -> HttpResponse:
        kinds = ", ".join(TrainingKind)
        columns = {"needed": ", ".join(NEEDED), "optional": ", ".join(OPTIONAL), "kinds": kinds}
        return self.page({"form": form, **columns, **more}, status=status)


class RecordList(FarmPage):
    """All new rows or none, after they were answered."""

    needs = {"POST": Can.EDIT_CERTIFICATES}
    template_name = "training/list.html"

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        form = TextForm(request.POST)
        if not form.is_valid():
            return self.page({"form": form}, status=400)
        try:
            response = self.act_once(lambda: self.act(form.cleaned_data))
        except BadInput as error:
            put_errors(form, error)
            return self.page({"form": ListForm(), "refused": form}, status=400)
        messages.success(request, gettext("The trainings are on record."))
        return response

    def act(self, cleaned: dict[str, Any]) -> str:
        services.record_list(member=self.member, now=self.now, **cleaned)
        return reverse("training:cards", args=[self.farm.slug])
