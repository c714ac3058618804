"""A notice as a sentence and as an e-mail, in the reader's language and the farm's zone."""

from __future__ import annotations

import logging
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.utils import translation
from django.utils.translation import gettext

from apps.reminders import rules
from apps.reminders.models import Notice
from farmops import wording

log = logging.getLogger(__name__)
SUBJECT_LENGTH = 120


def said(notice: Notice, language: str) -> str:
    """The notice's sentence in ``language``, its instants in the farm's zone.

    A translation whose slots do not fit falls back to English: a clumsy notice beats none.
    """
    with translation.override(language):
        slots = {n: gettext(v["words"]) if isinstance(v, dict) else str(v) for n, v in notice.numbers.items()}
        try:
            return wording.fill(gettext(notice.template), slots, language)
        except (KeyError, IndexError, ValueError):
            log.exception("the %s translation of %r has other slots", language, notice.template)
            return wording.fill(notice.template, slots, language)


def message_id(notice: Notice) -> str:
    """The same at every try, so that a mailbox can drop a repeat."""
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    return f"<notice-{notice.pk}-{notice.created_at:%Y%m%d%H%M%S}@{host}>"


def letter(notice: Notice) -> EmailMessage:
    """The e-mail of a notice (with its farm and person already read)."""
    language, farm = notice.person.language, notice.farm
    text = said(notice, language)
    level = rules.level_of(notice.kind, urgent=notice.urgent)
    with translation.override(language):
        lines = [
            f"{gettext(rules.LEVEL_NAMES[level])}: {text}",
            gettext("See it in the farm book:") + f" {settings.SITE_URL.rstrip('/')}{notice.path or '/'}",
            gettext("Written %s.") % wording.instant(notice.created_at, farm.time_zone, language),
            gettext("A sign on the ground beats this message. In doubt, keep out and call %(name)s %(phone)s.")
            % {"name": farm.contact_name, "phone": farm.contact_phone},
        ]
    return EmailMessage(
        subject=_one_line(f"{farm.name}: {text}"),
        body="\n\n".join(lines) + "\n",
        to=[notice.person.email],
        headers={"Message-ID": message_id(notice), "Content-Language": language, "Auto-Submitted": "auto-generated"},
    )


def _one_line(text: str) -> str:
    """No line breaks in a header (a name may hold one), and not endless."""
    line = " ".join(text.split())
    return line if len(line) <= SUBJECT_LENGTH else line[: SUBJECT_LENGTH - 1].rstrip() + "…"
