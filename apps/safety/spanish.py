"""The board's sentences in Spanish, by their English template.

They stand here and not only in the catalogue because the crew sees both languages at once, whatever
language the page speaks: a sentence without its Spanish would be half an answer. A test keeps the table
whole. Terms follow farm usage: never «hasta» before a time, never «seguro» or «libre» for ground.
"""

from __future__ import annotations

from collections.abc import Mapping

SENTENCES: Mapping[str, str] = {
    "The recorded times contradict each other. The record must be corrected.": (
        "Las horas registradas no concuerdan. Hay que corregir el registro."
    ),
    "A spray job was planned here from {from_at}. What happened is not reported.": (
        "Se planeó una aplicación aquí a partir del {from_at}. Nadie ha informado qué pasó."
    ),
    "Spraying is planned here from {from_at} to {to_at}.": (
        "Hay una aplicación planeada aquí. Empieza el {from_at} y termina el {to_at}."
    ),
    "Spraying was planned here from {from_at} to {to_at} and nobody has reported. It may have been sprayed.": (
        "Se planeó una aplicación aquí, del {from_at} al {to_at}, y nadie ha informado. Puede que se haya aplicado."
    ),
    "Spraying now. No end time yet.": "Están aplicando ahora. Todavía no hay hora final.",
    "A spray job was started {from_at} and has no finish time.": (
        "Una aplicación empezó el {from_at} y no tiene hora final."
    ),
    "Two people gave different finish times. It is not resolved.": (
        "Dos personas dieron horas finales distintas. No está resuelto."
    ),
    "Sprayed, and the record is not signed. No time is known.": (
        "Se aplicó y falta firmar el registro. No se conoce la hora."
    ),
    "Sprayed, and the record is not signed. The time {provisional_at} is not confirmed.": (
        "Se aplicó y falta firmar el registro. La hora, {provisional_at}, está sin confirmar."
    ),
    "Sprayed with {product}. Wait until a named person confirms that it has dried.": (
        "Se aplicó {product}. Espere a que una persona con nombre confirme que ya secó."
    ),
    "Sprayed with {product}. Wait until a named person confirms the air level the label asks for.": (
        "Se aplicó {product}. Espere a que una persona con nombre confirme el nivel en el aire que pide la etiqueta."
    ),
    "Sprayed with {product}. Its restricted-entry interval is not known.": (
        "Se aplicó {product}. No se conoce su intervalo de entrada restringida."
    ),
    "Sprayed with {product}. Its restricted-entry interval runs. Do not enter before {until_at}.": (
        "Se aplicó {product}. Corre su intervalo de entrada restringida. No entre antes del {until_at}."
    ),
    "Sprayed with {product}. Its wait before harvest is not known.": (
        "Se aplicó {product}. No se conoce su intervalo antes de la cosecha."
    ),
    "Sprayed with {product}. Do not pick before {until_at}.": "Se aplicó {product}. No coseche antes del {until_at}.",
    "A sign stands at the field. It must be taken down and that recorded first.": (
        "Hay un letrero en el campo. Primero hay que quitarlo y registrarlo."
    ),
    "Not confirmed since {as_of}. Ask again.": "Sin confirmar desde el {as_of}. Pregunte otra vez.",
    "Spraying is planned here from {from_at}.": "Hay una aplicación planeada aquí a partir del {from_at}.",
    "This is about {at}, from what was recorded by {as_of}. Ask again then.": (
        "Esto es para el {at}, según lo registrado el {as_of}. Pregunte otra vez a esa hora."
    ),
    "This block is no longer in use. The board cannot answer for it.": (
        "Este bloque ya no está en uso. El tablero no puede responder por él."
    ),
    "The farm's time zone is not known. No time on the board can be trusted.": (
        "No se conoce la zona horaria de la finca. No se puede confiar en ninguna hora del tablero."
    ),
    "The board could not answer. Treat the block as closed.": (
        "El tablero no pudo responder. Trate el bloque como cerrado."
    ),
    "Spraying is planned next to here, on {next_to}, from {from_at} to {to_at}.": (
        "Hay una aplicación planeada al lado, en {next_to}. Empieza el {from_at} y termina el {to_at}."
    ),
    "Spraying was planned next to here, on {next_to}, from {from_at}, and nobody has reported. It may go on.": (
        "Se planeó una aplicación al lado, en {next_to}, a partir del {from_at}, y nadie ha informado. Puede que siga."
    ),
    "Spraying next to here now, on {next_to}. No end time yet.": (
        "Están aplicando al lado ahora, en {next_to}. Todavía no hay hora final."
    ),
    "Spraying next to here, on {next_to}, was started {from_at} and has no finish time.": (
        "Una aplicación al lado, en {next_to}, empezó el {from_at} y no tiene hora final."
    ),
    "Spraying is planned next to here, on {next_to}, from {from_at}.": (
        "Hay una aplicación planeada al lado, en {next_to}, a partir del {from_at}."
    ),
    "A part of this block is closed, {acres}, as mapped. Stay well outside its edge.": (
        "Una parte de este bloque está cerrada, {acres}, según el mapa. Manténgase bien fuera de su orilla."
    ),
    "Only a mapped part of this block was treated, {acres}. Ask about the rest of the block.": (
        "Solo se trató una parte marcada de este bloque, {acres}. Pregunte por el resto del bloque."
    ),
    "a pesticide": "un pesticida",
}
