"""Doors for a CSV file that people bring: every row is answered first, then all of it is written, or nothing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from farmops import wording
from farmops.csv_read import MOST_CHARACTERS, Fault, decoded
from farmops.errors import BadInput
from farmops.web import FarmPage, put_errors

SHOWN = 200


def said(fault: Fault) -> str:
    """A fault in the reader's language."""
    return wording.fill(gettext(fault.template), fault.numbers, get_language())


class CsvIn(serializers.Serializer):
    """A CSV file as text. Its first line names the columns."""

    name = serializers.CharField(max_length=200)
    text = serializers.CharField(max_length=MOST_CHARACTERS, trim_whitespace=False)


class RowFaultOut(serializers.Serializer):
    column = serializers.CharField(help_text="Empty = the row as a whole")
    said = serializers.CharField()

    def to_representation(self, instance: Fault) -> dict[str, Any]:
        return {"column": instance.column, "said": said(instance)}


def faults_json(faults: Iterable[Fault]) -> list[dict[str, Any]]:
    return [RowFaultOut().to_representation(fault) for fault in faults]


class FileForm(forms.Form):
    """Derive, and say in ``file``'s help text what a row is."""

    file = forms.FileField(label=_("CSV file"))
    hint: Any = ""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].help_text = self.hint

    def clean_file(self) -> Any:
        found = self.cleaned_data["file"]
        if found.size > MOST_CHARACTERS:
            raise forms.ValidationError(_("The file must be 1 MB or smaller."))
        return found


class TextForm(forms.Form):
    """The file again, as it was read, so that what is written is what was answered."""

    name = forms.CharField(widget=forms.HiddenInput, max_length=200)
    text = forms.CharField(widget=forms.HiddenInput, max_length=MOST_CHARACTERS, strip=False)


class AskAboutFile(FarmPage):
    """A file, and the answer to every row of it. Nothing is written here."""

    form_class: type[FileForm]

    def examine(self, text: str) -> Any:
        """``answers`` with ``row`` and ``faults``; ``BadInput`` for a file that cannot be read at all."""
        raise NotImplementedError

    def context(self) -> dict[str, Any]:
        """What the page says beside the form."""
        raise NotImplementedError

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"form": self.form_class(), **self.context()})

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        form = self.form_class(request.POST, request.FILES)
        if not form.is_valid():
            return self.page({"form": form, **self.context()}, status=400)
        upload = form.cleaned_data["file"]
        try:
            text = decoded(upload.read())
            found = self.examine(text)
        except BadInput as error:
            put_errors(form, error)
            return self.page({"form": form, **self.context()}, status=400)
        bad = [(a.row, [(f.column, said(f)) for f in a.faults]) for a in found.answers if a.faults]
        again = TextForm(initial={"name": upload.name[:200], "text": text})
        shown = {"examined": found, "again": again, "bad": bad[:SHOWN], "bad_count": len(bad)}
        return self.page({"form": form, **self.context(), **shown})


class ConfirmFile(FarmPage):
    """All rows or none, after they were answered."""

    done: Any

    def act(self, cleaned: dict[str, Any]) -> str:
        """Writes, and gives the next address."""
        raise NotImplementedError

    def again(self, form: TextForm) -> HttpResponse:
        """What went wrong since the rows were answered."""
        return self.page({"form": form}, status=400)

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        form = TextForm(request.POST)
        if not form.is_valid():
            return self.again(form)
        try:
            response = self.act_once(lambda: self.act(form.cleaned_data))
        except BadInput as error:
            put_errors(form, error)
            return self.again(form)
        messages.success(request, gettext(self.done))
        return response
