"""The fixed sentences of the answer in both languages: the crew sees both together, like the sign."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import get_language, gettext, override

from apps.safety.rules import Activity, Answer, Because, Kind, Word
from farmops import wording
from farmops.errors import gettext_noop


@dataclass(frozen=True)
class Both:
    """One sentence in English and in Spanish."""

    en: str
    es: str


KEEP_OUT = Both("KEEP OUT", "NO ENTRE")
ENTRY_ALLOWED = Both("Entry allowed", "Entrada permitida")
NOT_CONFIRMED = Both("Not confirmed", "Sin confirmar")
NO_PICKING = Both("Do not pick yet", "No coseche todavía")
PICKING_ALLOWED = Both("Picking allowed", "Cosecha permitida")
NO_END = Both("No end time yet.", "Todavía no hay hora final.")
SIGN_BEATS = Both("If a sign is up, keep out.", "Si hay un letrero, no entre.")

ACTIVITY_NAMES: dict[Activity, Both] = {
    Activity.PICKING_BY_HAND: Both("Picking by hand", "Cosecha a mano"),
    Activity.HAND_LABOR: Both("Weeding, thinning or pruning", "Deshierbe, raleo o poda"),
    Activity.IRRIGATION: Both("Irrigation", "Riego"),
    Activity.SCOUTING_ON_FOOT: Both("Walking to look", "Caminar para revisar"),
    Activity.DRIVING_CLOSED_CAB: Both("Driving through, windows shut", "Pasar manejando, con ventanas cerradas"),
    Activity.OTHER: Both("Something else", "Otro trabajo"),
}
ANY_WORK = Both("Any work", "Cualquier trabajo")


def work_name(activity: str | None) -> Both:
    """The kind of work asked about; none chosen is judged as any work."""
    return ACTIVITY_NAMES[Activity(activity)] if activity else ANY_WORK


def headline(answer: Answer, *, harvest: bool = False) -> Both:
    """The state in a word, first thing on the page and in its title."""
    if harvest:
        return NO_PICKING if answer.keep_out else PICKING_ALLOWED
    return KEEP_OUT if answer.keep_out else ENTRY_ALLOWED


def second_line(answer: Answer, zone: str) -> Both:
    """Until when, or what is missing. Empty for an allowed answer."""
    if not answer.keep_out:
        return Both("", "")
    if answer.opens_at is not None:
        en = "until " + wording.instant(answer.opens_at, zone, "en")
        return Both(en, "No antes del " + wording.instant(answer.opens_at, zone, "es"))
    if any(b.kind is Kind.UNDERWAY and b.answer is Word.NO for b in answer.because):
        return Both("Spraying now. " + NO_END.en, "Están aplicando ahora. " + NO_END.es)
    if answer.answer is Word.UNKNOWN:
        return Both(NOT_CONFIRMED.en + ".", NOT_CONFIRMED.es + ".")
    return NO_END


def remaining(answer: Answer) -> Both | None:
    """How long still, never shorter than the truth."""
    if answer.opens_at is None:
        return None
    left = answer.opens_at - answer.as_of
    return Both(f"{wording.remaining(left, 'en')} from now", f"faltan {wording.remaining(left, 'es')}")


def sentence(because: Because, zone: str, language: str | None = None) -> str:
    """One reason in words, times in the farm's zone, in ``language`` (the active one if not given)."""
    code = language or get_language()
    with override(code):
        times = {name: wording.instant(at, zone, code) for name, at in because.times.items()}
        numbers = {name: gettext(value) if name == "product" else value for name, value in because.numbers.items()}
        return gettext(because.template).format(**{**numbers, **times})


def good_until(answer: Answer, zone: str) -> Both:
    """When the question must be asked again."""
    return Both(
        "Good until " + _clock(answer.good_until, zone, "en"), "Vence a las " + _clock(answer.good_until, zone, "es")
    )


def checked(answer: Answer, zone: str) -> Both:
    """When the book was asked."""
    return Both("Checked " + _clock(answer.as_of, zone, "en"), "Revisado " + _clock(answer.as_of, zone, "es"))


def _clock(at: datetime, zone: str, language: str) -> str:
    return wording.instant(at, zone, language)


STATE_NAMES = {
    Word.YES: gettext_noop("Entry allowed"),
    Word.NO: gettext_noop("Keep out"),
    Word.UNKNOWN: gettext_noop("Keep out, not confirmed"),
}
