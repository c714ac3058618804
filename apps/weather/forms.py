"""The form of a reading. A point is the only decimal mark, in both languages."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apps.weather.rules.rain import GAUGE_NAMES, Gauge
from apps.weather.rules.readings import COMPASS, Source
from farmops.errors import BadInput, gettext_noop
from farmops.problems import in_words
from farmops.units import number

SOURCE_NAMES = {
    Source.HANDHELD: gettext_noop("measured in the field"),
    Source.STATION: gettext_noop("weather station"),
    Source.FORECAST: gettext_noop("forecast"),
}
LOCAL = "%Y-%m-%dT%H:%M"
ENTER_TIME = _("Must be a date and a time, like 2026-06-03 07:30 for half past seven in the morning.")


class NumberField(forms.CharField):
    """A number as typed; cleaned to Decimal, or None when left empty."""

    def __init__(self, *, minimum: int = 0, maximum: int, places: int = 1, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"inputmode": "decimal"}), **kwargs)
        self.minimum, self.maximum, self.places = minimum, maximum, places

    def to_python(self, value: Any) -> Decimal | None:
        text = str(value or "").strip()
        if not text:
            return None
        try:
            typed = number(text, field="typed", minimum=self.minimum, maximum=self.maximum)
        except BadInput as bad:
            raise ValidationError([in_words(s) for s in bad.errors["typed"]]) from None
        if typed != round(typed, self.places):
            said = gettext("At most one decimal.") if self.places == 1 else gettext("At most two decimals.")
            raise ValidationError(said)
        return typed


class LocalTimeField(forms.CharField):
    """Date and time on the farm's own clock; cleaned to a naive time."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"type": "datetime-local"}), **kwargs)

    def to_python(self, value: Any) -> datetime | None:
        typed = str(value or "").strip()
        if not typed:
            return None
        try:
            return datetime.strptime(typed[:16].replace(" ", "T"), LOCAL)  # noqa: DTZ007 - the zone is the farm's
        except ValueError:
            raise ValidationError(ENTER_TIME) from None


class ReadingForm(forms.Form):
    taken_at = LocalTimeField(label=_("Read at"))
    block_id = forms.TypedChoiceField(label=_("Block"), coerce=int, empty_value=None, required=False)
    source = forms.ChoiceField(label=_("Where the numbers come from"), widget=forms.RadioSelect, initial="handheld")
    wind_mph = NumberField(label=_("Wind, mph"), maximum=150)
    gust_mph = NumberField(label=_("Gusts, mph"), maximum=150, required=False)
    wind_from = forms.ChoiceField(label=_("Wind comes from"), required=False)
    temperature_f = NumberField(label=_("Temperature, °F"), minimum=-40, maximum=140, required=False)
    humidity_percent = NumberField(label=_("Humidity, %"), maximum=100, required=False)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, blocks: list[tuple[int, str]], zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["block_id"].choices = [("", gettext("the farm at large")), *blocks]
        fields["source"].choices = [(s.value, gettext(n)) for s, n in SOURCE_NAMES.items()]
        fields["wind_from"].choices = [("", gettext("calm or not noted")), *((p, p.upper()) for p in COMPASS)]
        fields["taken_at"].help_text = gettext("Farm time, %s") % zone


class RainForm(forms.Form):
    """What the gauge caught since it was last empty."""

    until_at = LocalTimeField(label=_("Read at"))
    from_at = LocalTimeField(label=_("Last empty at"))
    inches = NumberField(
        label=_("Rain, inches"), maximum=30, places=2, help_text=_("0 if it is dry: that is a reading too.")
    )
    block_id = forms.TypedChoiceField(label=_("Block"), coerce=int, empty_value=None, required=False)
    source = forms.ChoiceField(label=_("What caught it"), widget=forms.RadioSelect, initial=Gauge.GAUGE.value)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, blocks: list[tuple[int, str]], zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: Any = self.fields
        fields["block_id"].choices = [("", gettext("the farm at large")), *blocks]
        fields["source"].choices = [(g.value, gettext(n)) for g, n in GAUGE_NAMES.items()]
        fields["until_at"].help_text = gettext("Farm time, %s") % zone


class RainReasonForm(forms.Form):
    reason = forms.CharField(label=_("Why this entry is wrong"), max_length=400)
