"""A notice as a sentence and as an e-mail, in the reader's language and the farm's zone."""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.utils import translation
from django.utils.translation import gettext, ngettext

from apps.reminders import rules
from apps.reminders.models import Letter, Notice
from farmops import wording

log = logging.getLogger(__name__)
SUBJECT_LENGTH = 120


def said(notice: Notice, language: str) -> str:
    """The notice's sentence in ``language``, its instants in the farm's zone.

    A translation whose slots do not fit falls back to English, a sentence that lacks something says
    so with dots: a clumsy notice beats none.
    """
    with translation.override(language):
        slots = {name: _slot(value, language) for name, value in notice.numbers.items()}
        try:
            return wording.fill(gettext(notice.template), slots, language)
        except (KeyError, IndexError, ValueError):
            log.exception("the %s translation of %r has other slots", language, notice.template)
    try:
        return wording.fill(notice.template, slots, language)
    except (KeyError, IndexError, ValueError):  # one broken row must not hold back the others of its letter
        log.exception("notice %s lacks what its sentence names", notice.pk)
        return re.sub(r"\{[^}]*\}", "…", notice.template)


def _slot(value: Any, language: str) -> str:
    """Text as it stands; a phrase of the catalogue translated, its own slots filled."""
    if not isinstance(value, dict):
        return str(value)
    phrase, numbers = gettext(value["words"]), value.get("numbers")
    return wording.fill(phrase, numbers, language) if numbers else phrase


def message_id(letter: Letter) -> str:
    """The same at every try, so that a mailbox can drop a repeat."""
    return f"<letter-{letter.pk}-{letter.created_at:%Y%m%d%H%M%S}@{host()}>"


def host() -> str:
    """The site's name in ids that leave the house."""
    return urlsplit(settings.SITE_URL).hostname or "localhost"


def letter(row: Letter, notices: Sequence[Notice]) -> EmailMessage:
    """The e-mail of a letter: its notices by weight, each with where to see it."""
    language, farm = row.person.language, row.farm
    with translation.override(language):
        parts = [part for notice in sorted(notices, key=_weight) for part in _part(notice, language)]
        parts += [
            gettext("Written %s.") % wording.instant(row.created_at, farm.time_zone, language),
            gettext("A sign on the ground beats this message. In doubt, keep out and call %(name)s %(phone)s.")
            % {"name": farm.contact_name, "phone": farm.contact_phone},
        ]
        about = said(notices[0], language) if len(notices) == 1 else _many(notices)
    return EmailMessage(
        subject=_one_line(f"{farm.name}: {about}"),
        body="\n\n".join(parts) + "\n",
        to=[row.person.email],
        headers={"Message-ID": message_id(row), "Content-Language": language, "Auto-Submitted": "auto-generated"},
    )


def _weight(notice: Notice) -> tuple[int, int]:
    return (list(rules.Level).index(rules.level_of(notice.kind, urgent=notice.urgent)), notice.pk)


def _part(notice: Notice, language: str) -> list[str]:
    level = gettext(rules.LEVEL_NAMES[rules.level_of(notice.kind, urgent=notice.urgent)])
    lines = [f"{level}: {said(notice, language)}"]
    if notice.urgent:
        lines.append(gettext("Open it and press “I have it”, or the next person is told."))
    if notice.rung:
        lines.append(gettext("Nobody before you has answered."))
    return [*lines, gettext("See it in the farm book:") + f" {settings.SITE_URL.rstrip('/')}{notice.path or '/'}"]


def _many(notices: Sequence[Notice]) -> str:
    today = sum(rules.level_of(n.kind, urgent=n.urgent) is not rules.Level.INFORMATION for n in notices)
    if today:
        return ngettext("%d thing to do today", "%d things to do today", today) % today
    return ngettext("%d notice", "%d notices", len(notices)) % len(notices)


def _one_line(text: str) -> str:
    """No line breaks in a header (a name may hold one), and not endless."""
    line = " ".join(text.split())
    return line if len(line) <= SUBJECT_LENGTH else line[: SUBJECT_LENGTH - 1].rstrip() + "…"
