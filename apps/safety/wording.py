"""The fixed sentences of the answer in both languages: the crew sees both together, like the sign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import get_language

from apps.people.models import Farm
from apps.safety.rules import Activity, Answer, Because, Word
from apps.safety.spanish import SENTENCES
from farmops import clock, wording
from farmops.errors import BadInput, gettext_noop


@dataclass(frozen=True)
class Both:
    """One sentence in English and in Spanish."""

    en: str
    es: str


KEEP_OUT = Both("KEEP OUT", "NO ENTRE")
ENTRY_ALLOWED = Both("Entry allowed", "Entrada permitida")
NO_PICKING = Both("Do not pick yet", "No coseche todavía")
PICKING_ALLOWED = Both("Picking allowed", "Cosecha permitida")
NO_END = Both("No end time yet.", "Todavía no hay hora final.")
SIGN_BEATS = Both("If a sign is up, keep out.", "Si hay un letrero, no entre.")
NOT_CONFIRMED = Both("Not confirmed.", "Sin confirmar.")
NO_LONGER = Both("Not confirmed any more. Ask again.", "Ya no está confirmado. Pregunte otra vez.")
CALL = Both("Call", "Llame")
ASK_AGAIN = Both("Ask again", "Preguntar otra vez")
ANOTHER_BLOCK = Both("Ask about another block", "Preguntar por otro bloque")
REST_OF_BLOCK = Both("Ask about the rest of this block", "Preguntar por el resto de este bloque")
THE_REST = Both("the rest of the block", "el resto del bloque")
WHOLE_BLOCK = Both("Ask about the whole block", "Preguntar por todo el bloque")
ALLOWED_MEANS = Both(
    "“Entry allowed” means only that the recorded restrictions have ended. If you smell or see spray, or feel ill, "
    "leave and call.",
    "«Entrada permitida» solo quiere decir que terminaron las restricciones registradas. Si huele o ve aplicación, o "
    "se siente mal, salga y llame.",
)
CHECKED = Both("Checked", "Revisado")
CHECKING = Both("Checking again…", "Revisando otra vez…")
LAST_KNOWN = Both(
    "Last known. No connection: the time may be later by now.",
    "Último dato conocido. Sin conexión: la hora puede ser más tarde.",
)
NO_BOOK = Both(
    "Not confirmed. The farm book cannot be reached.", "Sin confirmar. No hay conexión con el libro de la finca."
)
BOARD_SILENT = Both("Not confirmed. The board could not answer.", "Sin confirmar. El tablero no pudo responder.")
NO_SUCH_CODE = Both(
    "Not confirmed. No block answers to this code.", "Sin confirmar. Ningún bloque responde a este código."
)
TOO_MANY = Both(
    "Not confirmed. Too many questions from this connection. Wait a minute, then ask again.",
    "Sin confirmar. Demasiadas preguntas desde esta conexión. Espere un minuto y pregunte otra vez.",
)
CALL_THE_PLATE = Both("Call the number on the plate.", "Llame al número de la placa.")
TYPE_THE_CODE = Both("Type the code on the plate", "Escriba el código de la placa")
CODE_ON_PLATE = Both("Code, 12 letters and digits", "Código, 12 letras y números")
SHOW_ANSWER = Both("Show the answer", "Ver la respuesta")
SCAN_FIRST = Both("May I go in? Scan before you go in.", "¿Se puede entrar? Escanee antes de entrar.")
NO_SIGNAL = Both("No signal or no answer: keep out.", "Sin señal o sin respuesta: no entre.")
AT_THIS_BLOCK = Both("Are you here?", "¿Está usted aquí?")
CAUTIONS = (
    Both(
        "A sign on the ground beats the screen: keep out.", "El letrero en el campo vale más que la pantalla: no entre."
    ),
    Both(
        "No answer, an old answer or no signal: keep out.", "Sin respuesta, con respuesta vieja o sin señal: no entre."
    ),
    Both(
        "Sprayed on, or feeling ill: leave, wash, get help at once. Take the product's name with you.",
        "Si le cayó líquido o se siente mal: salga, lávese y pida ayuda de inmediato. Lleve el nombre del producto.",
    ),
    Both(
        "Entry and picking are two answers. Early entry is never your own choice: it needs the supervisor.",
        "Entrar y cosechar son dos respuestas. La entrada temprana nunca la decide usted: la decide el supervisor.",
    ),
    Both(
        "The product label is the law. Times are as the applicator wrote them; corrections show here.",
        "La etiqueta del producto es la ley. Las horas son las que anotó el aplicador; aquí se ven las correcciones.",
    ),
)
"""What stands on every answer, allowed or not, short. Source: the product label and 40 CFR 170.309, 170.407; project
rule for the treatment of doubt."""

ACTIVITY_NAMES: dict[Activity, Both] = {
    Activity.PICKING_BY_HAND: Both("Picking by hand", "Cosecha a mano"),
    Activity.HAND_LABOR: Both("Weeding, thinning or pruning", "Deshierbe, raleo o poda"),
    Activity.IRRIGATION: Both("Irrigation", "Riego"),
    Activity.SCOUTING_ON_FOOT: Both("Walking to look", "Caminar para revisar"),
    Activity.DRIVING_CLOSED_CAB: Both("Driving, closed cab", "Manejar en cabina cerrada"),
    Activity.OTHER: Both("Something else", "Otro trabajo"),
}
ANY_WORK = Both("Any work", "Cualquier trabajo")

MISSING: Mapping[str, Both] = {
    "planned_now": Both("Spraying is planned now. No end time yet.", "Hay una aplicación planeada ahora."),
    "spraying_now": Both("Spraying now. No end time yet.", "Están aplicando ahora. Todavía no hay hora final."),
    "zone_planned_now": Both(
        "Spraying is planned next to here now. No end time yet.", "Hay una aplicación planeada al lado ahora."
    ),
    "zone_now": Both(
        "Spraying next to here now. No end time yet.", "Están aplicando al lado. Todavía no hay hora final."
    ),
    "zone_unreported": Both(
        "Not confirmed. A spray job next to here was not reported.",
        "Sin confirmar. Nadie ha informado de una aplicación al lado.",
    ),
    "zone_no_finish_time": Both(
        "Not confirmed. A spray job next to here has no finish time.",
        "Sin confirmar. Falta la hora final de una aplicación al lado.",
    ),
    "sign_up": Both("Waiting for the sign to come down.", "Falta quitar el letrero."),
    "planned_unreported": Both(
        "Not confirmed. A spray job was not reported.", "Sin confirmar. Nadie ha informado de una aplicación."
    ),
    "no_finish_time": Both(
        "Not confirmed. A spray job has no finish time.", "Sin confirmar. Falta la hora final de una aplicación."
    ),
    "unsigned": Both(
        "Not confirmed. A spray record is not signed.", "Sin confirmar. Falta firmar el registro de una aplicación."
    ),
    "two_ends": Both("Not confirmed. Two finish times differ.", "Sin confirmar. Hay dos horas finales distintas."),
    "rei_missing": Both(
        "Not confirmed. The time to keep out is not known.", "Sin confirmar. No se conoce el tiempo sin entrar."
    ),
    "phi_missing": Both(
        "Not confirmed. The wait before harvest is not known.",
        "Sin confirmar. No se conoce el intervalo antes de la cosecha.",
    ),
    "until_dry": Both("Waiting for somebody to confirm that it has dried.", "Falta confirmar que ya secó."),
    "until_level": Both("Waiting for somebody to confirm the air level.", "Falta confirmar el nivel en el aire."),
    "contradiction": Both(
        "Not confirmed. The record must be corrected.", "Sin confirmar. Hay que corregir el registro."
    ),
}
"""What is missing, by the code of the gravest reason; other reasons without an end say only that there is none."""

STATE_NAMES = {
    Word.YES: gettext_noop("Entry allowed"),
    Word.NO: gettext_noop("Keep out"),
    Word.UNKNOWN: gettext_noop("Keep out, not confirmed"),
}


def zone_of(farm: Farm) -> str:
    """The farm's zone for showing times. A farm without a real one shows UTC, and its answers are all unknown."""
    try:
        clock.zone(farm.time_zone)
    except BadInput:
        return "UTC"
    return farm.time_zone


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
        en, es = _instants(answer.opens_at, zone)
        return Both(f"until {en}", f"No antes del {es}")
    otherwise = NOT_CONFIRMED if answer.answer is Word.UNKNOWN else NO_END
    return MISSING.get(answer.because[0].code, otherwise) if answer.because else otherwise


def opening(answer: Answer, zone: str) -> str:
    """When it opens, in the reader's language; empty when nobody can say."""
    return "" if answer.opens_at is None else moment(answer.opens_at, zone)


def moment(at: datetime, zone: str) -> str:
    """An instant in the reader's language."""
    return wording.instant(at, zone, get_language())


def remaining(answer: Answer) -> Both | None:
    """How long still, never shorter than the truth."""
    if answer.opens_at is None:
        return None
    left = answer.opens_at - answer.as_of
    return Both(f"{wording.remaining(left, 'en')} from now", f"faltan {wording.remaining(left, 'es')}")


def sentence(because: Because, zone: str, language: str | None = None) -> str:
    """One reason in words, times in the farm's zone, in ``language`` (the active one if not given)."""
    code = "es" if (language or get_language() or "").startswith("es") else "en"
    slots = {**because.numbers, "product": because.product or _in(code, "a pesticide")}
    for name, at in because.times.items():
        slots[name] = wording.instant(at, zone, code)
    return _in(code, because.template).format_map(slots)


def _in(code: str, template: str) -> str:
    return SENTENCES.get(template, template) if code == "es" else template


def both(because: Because, zone: str) -> Both:
    """One reason in both languages."""
    return Both(sentence(because, zone, "en"), sentence(because, zone, "es"))


def good_until(answer: Answer, zone: str) -> Both:
    """When the question must be asked again."""
    en, es = _instants(answer.good_until, zone)
    return Both(f"Good until {en}", f"Vence el {es}")


def checked(answer: Answer, zone: str) -> Both:
    """When the book was asked: the time alone, in both languages; ``CHECKED`` stands before it."""
    return Both(*_instants(answer.as_of, zone))


def _instants(at: datetime, zone: str) -> tuple[str, str]:
    return wording.instant(at, zone, "en", brief=True), wording.instant(at, zone, "es", brief=True)
