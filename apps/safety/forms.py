"""Forms of the board."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.safety.rules import Closure, Reason


def condition_name(closure: Closure) -> str:
    """What is confirmed, in words: the product and what its label waits for."""
    product = ", ".join(closure.product_names) or gettext("a pesticide")
    if closure.reason_code is Reason.UNTIL_DRY:
        return gettext("%s has dried on the whole block") % product
    return gettext("%s: the air level the label asks for is reached, by my reading") % product


class ConfirmForm(forms.Form):
    """Nothing is ticked beforehand: each condition is somebody's own look."""

    seen = forms.TypedMultipleChoiceField(
        label=_("I was at the block and saw that"), widget=forms.CheckboxSelectMultiple, coerce=int
    )

    def __init__(self, *args: Any, waiting: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["seen"].choices = waiting
