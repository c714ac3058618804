"""Forms of the ground."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.land.rules import KIND_NAMES
from apps.land.rules.farm_files import CODE_LENGTH, NAME_LENGTH, NOTE_LENGTH

DECIMAL = {"inputmode": "decimal"}
CORNERS = _("One corner a line, latitude then longitude, like 40.2501, -86.2498. Or paste GeoJSON.")
MOST_FILE_BYTES = 2_000_000


class FieldForm(forms.Form):
    name = forms.CharField(label=_("Name of the field"), max_length=NAME_LENGTH)
    note = forms.CharField(label=_("Note"), max_length=NOTE_LENGTH, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class BlockForm(forms.Form):
    name = forms.CharField(label=_("Name of the block"), max_length=NAME_LENGTH)
    code = forms.CharField(
        label=_("Code"), max_length=CODE_LENGTH, help_text=_("Short mark as painted at the gate, like R1.")
    )
    planted_acres = forms.CharField(
        label=_("Planted acres"),
        required=False,
        help_text=_("What you plant. Leave empty to use the mapped acres."),
        widget=forms.TextInput(attrs=DECIMAL),
    )
    polygon = forms.CharField(
        label=_("Outline"), help_text=CORNERS, widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"})
    )


class BlockEditForm(BlockForm):
    field_id = forms.TypedChoiceField(label=_("Field"), coerce=int)
    version = forms.IntegerField(widget=forms.HiddenInput)
    field_order = ["field_id", "name", "code", "planted_acres", "polygon"]

    def __init__(self, *args: Any, fields: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["field_id"].choices = fields


class SplitForm(forms.Form):
    line = forms.CharField(
        label=_("Line of the split"),
        help_text=_("Points from edge to edge, one a line, latitude then longitude, like 40.2501, -86.2498."),
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
    )
    west_name = forms.CharField(label=_("Name of the western piece"), max_length=NAME_LENGTH)
    west_code = forms.CharField(label=_("Code of the western piece"), max_length=CODE_LENGTH)
    east_name = forms.CharField(label=_("Name of the eastern piece"), max_length=NAME_LENGTH)
    east_code = forms.CharField(label=_("Code of the eastern piece"), max_length=CODE_LENGTH)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class MergeForm(forms.Form):
    block_ids = forms.TypedMultipleChoiceField(
        label=_("Blocks to merge"), coerce=int, widget=forms.CheckboxSelectMultiple
    )
    name = forms.CharField(label=_("Name of the new block"), max_length=NAME_LENGTH)
    code = forms.CharField(label=_("Code of the new block"), max_length=CODE_LENGTH)

    def __init__(self, *args: Any, blocks: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["block_ids"].choices = blocks


def kind_choices() -> list[tuple[str, object]]:
    return [("", ""), *((kind.value, _(name)) for kind, name in KIND_NAMES.items())]


class PlaceForm(forms.Form):
    kind = forms.ChoiceField(label=_("Kind"))
    name = forms.CharField(label=_("Name of the place"), max_length=NAME_LENGTH)
    geometry = forms.CharField(
        label=_("Where it is"),
        help_text=_(
            "One line with latitude and longitude for a point; three or more for an outline. Or paste GeoJSON."
        ),
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
    )
    note = forms.CharField(label=_("Note"), max_length=NOTE_LENGTH, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = kind_choices()


class MapForm(forms.Form):
    document = forms.FileField(
        label=_("Map file"),
        help_text=_("A GeoJSON FeatureCollection, at most 2 MB. Each block needs field, name and code."),
    )
    only_check = forms.BooleanField(label=_("Only check it, write nothing"), required=False)

    def clean_document(self) -> str:
        """The file's text, or what would be right."""
        file = self.cleaned_data["document"]
        if file.size > MOST_FILE_BYTES:
            raise forms.ValidationError(_("The file must be 2 MB or smaller."))
        try:
            return str(file.read().decode("utf-8-sig"))
        except UnicodeDecodeError:
            raise forms.ValidationError(_("The file must be text in UTF-8.")) from None
