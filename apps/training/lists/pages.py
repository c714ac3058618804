"""Pages of lists of trainings: pick a file, read the answer to every row, then record what is new."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.people.rules import Can
from apps.training.lists import services
from apps.training.lists.rules import NEEDED, OPTIONAL, Outcome
from apps.training.rules import TrainingKind
from farmops.csv_doors import AskAboutFile, ConfirmFile, FileForm, TextForm
from farmops.errors import gettext_noop


class ListForm(FileForm):
    hint = _("One row for each person and training, at most 1 MB.")


class CheckList(AskAboutFile):
    """The file, and the answer to every row of it. Nothing is written here."""

    needs = {"GET": Can.EDIT_CERTIFICATES, "POST": Can.EDIT_CERTIFICATES}
    template_name = "training/list.html"
    form_class = ListForm

    def examine(self, text: str) -> Any:
        found = services.examine(self.farm, text, self.now)
        self.counts = {"new": found.count(Outcome.NEW), "there": found.count(Outcome.THERE)}
        return found

    def context(self) -> dict[str, Any]:
        kinds = ", ".join(TrainingKind)
        columns = {"needed": ", ".join(NEEDED), "optional": ", ".join(OPTIONAL), "kinds": kinds}
        return {**columns, **getattr(self, "counts", {})}


class RecordList(ConfirmFile):
    """All new rows or none, after they were answered."""

    needs = {"POST": Can.EDIT_CERTIFICATES}
    template_name = "training/list.html"
    done = gettext_noop("The trainings are on record.")

    def again(self, form: TextForm) -> HttpResponse:
        return self.page({"form": ListForm(), "refused": form}, status=400)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.record_list(member=self.member, now=self.now, **cleaned)
        return reverse("training:cards", args=[self.farm.slug])
