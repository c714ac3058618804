"""Forms of people."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from apps.people.rules import ROLE_NAMES


def role_choices() -> list[tuple[str, object]]:
    return [(role.value, _(name)) for role, name in ROLE_NAMES.items()]


class InviteForm(forms.Form):
    full_name = forms.CharField(label=_("Name"), max_length=120)
    email = forms.EmailField(label=_("E-mail"), required=False)
    roles = forms.MultipleChoiceField(label=_("What they do here"), widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["roles"].choices = role_choices()  # type: ignore[attr-defined]


class PlaceForm(forms.Form):
    roles = forms.MultipleChoiceField(label=_("What they do here"), widget=forms.CheckboxSelectMultiple)
    active = forms.BooleanField(label=_("Works here now"), required=False)
    family = forms.BooleanField(
        label=_("Owner, or of an owner's immediate family"),
        help_text=_("Some training rules spare them (40 CFR 170.601(a)). No rule about entry does."),
        required=False,
    )
    born_on = forms.DateField(
        label=_("Day of birth, like 1990-05-31"),
        help_text=_("Asked for only when somebody uses restricted products under supervision."),
        required=False,
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["roles"].choices = role_choices()  # type: ignore[attr-defined]


class JoinForm(forms.Form):
    full_name = forms.CharField(label=_("Your name"), max_length=120)
    username = forms.CharField(
        label=_("User name"), max_length=60, help_text=_("Small letters and digits, for example ana.ruiz")
    )
    password = forms.CharField(label=_("Password, 10 characters or more"), widget=forms.PasswordInput)
    phone = forms.CharField(label=_("Phone"), max_length=30, required=False)
    language = forms.ChoiceField(
        label=_("Language"), choices=[("en", "English"), ("es", "Español")], widget=forms.RadioSelect, initial="en"
    )


class MeForm(forms.Form):
    full_name = forms.CharField(label=_("Name"), max_length=120)
    email = forms.EmailField(label=_("E-mail"), required=False)
    phone = forms.CharField(label=_("Phone"), max_length=30, required=False)
    language = forms.ChoiceField(
        label=_("Language"), choices=[("en", "English"), ("es", "Español")], widget=forms.RadioSelect
    )


class PasswordForm(forms.Form):
    old_password = forms.CharField(label=_("Password now"), widget=forms.PasswordInput)
    new_password = forms.CharField(label=_("New password, 10 characters or more"), widget=forms.PasswordInput)


class TokenForm(forms.Form):
    name = forms.CharField(label=_("What the key is for"), max_length=80)


class FarmEditForm(forms.Form):
    name = forms.CharField(label=_("Farm name"), max_length=120)
    time_zone = forms.CharField(label=_("Time zone"), help_text=_("IANA name, for example America/Chicago"))
    latitude = forms.DecimalField(
        label=_("Latitude, degrees north"),
        min_value=-90,
        max_value=90,
        decimal_places=6,
        widget=forms.TextInput(attrs={"inputmode": "text"}),
    )
    longitude = forms.DecimalField(
        label=_("Longitude, degrees east"),
        min_value=-180,
        max_value=180,
        decimal_places=6,
        widget=forms.TextInput(attrs={"inputmode": "text"}),
    )
    jurisdiction = forms.CharField(label=_("State or province whose pesticide rules apply"), max_length=20)
    contact_name = forms.CharField(label=_("Whom the crew calls"), max_length=120)
    contact_phone = forms.CharField(label=_("Phone the crew calls"), max_length=30)
    entry_good_minutes = forms.IntegerField(
        label=_("Minutes an “Entry allowed” stays good"),
        min_value=1,
        max_value=240,
        initial=30,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    keep_answers = forms.BooleanField(
        label=_("Keep which answer about entry each person got, to warn of a possible exposure"), required=False
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class FarmForm(FarmEditForm):
    slug = forms.SlugField(label=_("Short name in addresses"), max_length=40)
    field_order = ["name", "slug"]
