"""Forms of the board."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext

from apps.safety.rules import Closure, Reason


def condition_name(closure: Closure) -> str:
    """What is confirmed, in words: the product and what its label waits for."""
    product = ", ".join(closure.product_names) or gettext("a pesticide")
    if closure.reason_code is Reason.UNTIL_DRY:
        return gettext("%s has dried on the whole block") % product
    return gettext("%s: the air level the label asks for is reached, by my reading") % product


class ConfirmForm(forms.Form):
    """One box for each condition. None is ticked beforehand: each is somebody's own look."""

    def __init__(self, *args: Any, waiting: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.ids = {f"seen_{closure_id}": closure_id for closure_id, _ in waiting}
        for closure_id, name in waiting:
            self.fields[f"seen_{closure_id}"] = forms.BooleanField(label=name, required=False)

    def clean(self) -> dict[str, Any]:
        seen = [closure_id for name, closure_id in self.ids.items() if self.cleaned_data.get(name)]
        if not seen:
            raise forms.ValidationError(gettext("Tick what you saw, or go back without confirming."))
        return {"seen": seen}
