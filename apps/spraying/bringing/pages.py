"""Pages of bringing the past in: pick a file, read the answer to every row, then bring it in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.spraying.bringing import queries, services
from apps.spraying.bringing.rules import NEEDED, OPTIONAL
from apps.spraying.bringing.serializers import said
from farmops.csv_read import MOST_CHARACTERS, decoded
from farmops.errors import BadInput
from farmops.web import FarmPage, put_errors

SHOWN = 200


class FileForm(forms.Form):
    file = forms.FileField(label=_("CSV file"), help_text=_("One row for each product on each block, at most 1 MB."))

    def clean_file(self) -> Any:
        found = self.cleaned_data["file"]
        if found.size > MOST_CHARACTERS:
            raise forms.ValidationError(_("The file must be 1 MB or smaller."))
        return found


class TextForm(forms.Form):
    """The file again, as it was read, so that what is brought in is what was answered."""

    name = forms.CharField(widget=forms.HiddenInput, max_length=200)
    text = forms.CharField(widget=forms.HiddenInput, max_length=MOST_CHARACTERS, strip=False)


class Bring(FarmPage):
    """The file, and the answer to every row of it. Nothing is written here."""

    needs = {"GET": Can.PLAN_JOBS, "POST": Can.PLAN_JOBS}
    template_name = "spraying/bring.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.answer(FileForm())

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        form = FileForm(request.POST, request.FILES)
        if not form.is_valid():
            return self.answer(form, status=400)
        upload = form.cleaned_data["file"]
        try:
            text = decoded(upload.read())
            found = services.examine(self.farm, text, self.now)
        except BadInput as error:
            put_errors(form, error)
            return self.answer(form, status=400)
        again = TextForm(initial={"name": upload.name[:200], "text": text})
        bad = [(a, [(f.column, said(f)) for f in a.faults]) for a in found.answers if a.faults]
        return self.answer(form, examined=found, again=again, bad=bad[:SHOWN], bad_count=len(bad))

    def answer(self, form: FileForm, *, status: int = 200, **more: Any) -> HttpResponse:
        files = queries.files(self.farm)[:SHOWN]
        columns = {"needed": ", ".join(NEEDED), "optional": ", ".join(OPTIONAL)}
        return self.page({"form": form, "files": files, **columns, **more}, status=status)


class BringConfirmed(FarmPage):
    """All rows or none, after they were answered."""

    needs = {"POST": Can.PLAN_JOBS}
    template_name = "spraying/bring_confirm.html"

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        form = TextForm(request.POST)
        if not form.is_valid():
            return self.page({"form": form}, status=400)
        try:
            response = self.act_once(lambda: self.act(form.cleaned_data))
        except BadInput as error:
            put_errors(form, error)
            return self.page({"form": form}, status=400)
        messages.success(request, gettext("Brought in. It counts from now on in limits, rotation and waits."))
        return response

    def act(self, cleaned: dict[str, Any]) -> str:
        file = services.bring_in(member=self.member, name=cleaned["name"], text=cleaned["text"], now=self.now)
        return reverse("spraying:brought", args=[self.farm.slug, file.pk])


class Brought(FarmPage):
    """What one file brought in, row by row: not signed here."""

    needs = {"GET": Can.READ_RECORDS}
    template_name = "spraying/brought.html"

    def get(self, request: HttpRequest, farm: str, file: int) -> HttpResponse:
        row = queries.file_in(self.farm, file)
        return self.page({"file": row, "sprays": queries.brought(self.farm).filter(file=row).order_by("row")})
