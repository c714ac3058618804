"""The e-mail's words: the person's language, the farm's zone, nothing that breaks a header."""

from __future__ import annotations

from datetime import UTC, datetime
from email import message_from_bytes
from email.policy import default

import pytest

from apps.reminders import letters, rules
from apps.reminders.models import Letter
from apps.reminders.rules import Words
from tests.factories.people import FarmFactory, PersonFactory
from tests.factories.reminders import NoticeFactory

pytestmark = pytest.mark.django_db
TEMPLATE = "Block {block} may be entered from {opens_at} for {work}."


def notice(*, language: str = "en", zone: str = "America/Chicago", at: datetime, **more):
    slots = {"block": "7 North", "opens_at": at, "work": Words("weeding")}
    farm = FarmFactory(slug="alder-bend", name="Alder Bend Farm", time_zone=zone)
    return NoticeFactory(
        farm=farm,
        person=PersonFactory(email="ana@farm.example", language=language),
        template=TEMPLATE,
        numbers=rules.stored(slots, zone),
        created_at=datetime(2026, 6, 3, 11, 0, tzinfo=UTC),
        path="/f/alder-bend/board/",
        **more,
    )


def mailed(*rows):
    """The letter that holds these notices of one person."""
    at = rows[0].created_at
    row = Letter.objects.add(farm=rows[0].farm, person=rows[0].person, created_at=at, due_at=at)
    return letters.letter(row, rows)


def test_the_whole_e_mail_in_english(settings):
    settings.SITE_URL = "https://farm.example/"
    row = notice(at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC))
    made = mailed(row)
    assert made.subject == ("Alder Bend Farm: Block 7 North may be entered from Wed, Jun 3, 9:30 AM CDT for weeding.")
    assert made.body == (
        "For your information: Block 7 North may be entered from Wed, Jun 3, 9:30 AM CDT for weeding.\n\n"
        "See it in the farm book: https://farm.example/f/alder-bend/board/\n\n"
        "Written Wed, Jun 3, 6:00 AM CDT.\n\n"
        "A sign on the ground beats this message. In doubt, keep out and call Ines Prado 555-0101.\n"
    )
    assert made.to == ["ana@farm.example"]
    assert made.extra_headers == {
        "Message-ID": f"<letter-{Letter.rows.get().pk}-20260603110000@farm.example>",
        "Content-Language": "en",
        "Auto-Submitted": "auto-generated",
    }


def test_the_sentence_in_spanish_with_the_farms_time(spanish):
    spanish[TEMPLATE] = "Se puede entrar al bloque {block} a partir del {opens_at} para {work}."
    spanish["weeding"] = "deshierbe"
    spanish["Written %s."] = "Escrito el %s."
    made = mailed(notice(language="es", at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC)))
    said = "Se puede entrar al bloque 7 North a partir del miércoles 3 de junio, 9:30 a.m. CDT para deshierbe."
    assert made.subject == f"Alder Bend Farm: {said}"
    assert said in made.body.split("\n\n")[0]
    assert made.body.split("\n\n")[2] == "Escrito el miércoles 3 de junio, 6:00 a.m. CDT."
    assert made.extra_headers["Content-Language"] == "es"


# The change dates of 2026 are those of 15 USC 260a: second Sunday of March, first Sunday of November.
@pytest.mark.parametrize(
    ("at", "said"),
    [
        (datetime(2026, 3, 8, 7, 59, tzinfo=UTC), "Sun, Mar 8, 1:59 AM CST"),
        (datetime(2026, 3, 8, 8, 0, tzinfo=UTC), "Sun, Mar 8, 3:00 AM CDT"),
        (datetime(2026, 11, 1, 6, 30, tzinfo=UTC), "Sun, Nov 1, 1:30 AM CDT"),
        (datetime(2026, 11, 1, 7, 30, tzinfo=UTC), "Sun, Nov 1, 1:30 AM CST"),
        (datetime(2026, 6, 3, 17, 0, tzinfo=UTC), "Wed, Jun 3, noon CDT"),
    ],
    ids=["before the gap", "after the gap", "first of the doubled hour", "second of the doubled hour", "noon"],
)
def test_the_hour_is_never_in_doubt_when_the_clocks_change(at, said):
    assert f" from {said} for " in mailed(notice(at=at)).subject


def test_a_translation_with_other_slots_falls_back_to_english(spanish):
    spanish[TEMPLATE] = "Se puede entrar al bloque {bloque}."
    made = mailed(notice(language="es", at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC)))
    assert "Block 7 North may be entered from miércoles 3 de junio, 9:30 a.m. CDT" in made.subject


def test_a_name_with_a_line_break_cannot_write_a_header():
    row = notice(at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC))
    row.numbers["block"] = "7\r\nBcc: everybody@farm.example\r\n"
    sent = message_from_bytes(mailed(row).message().as_bytes(), policy=default)
    assert sent["Bcc"] is None
    assert sent["Subject"].startswith("Alder Bend Farm: Block 7 Bcc: everybody@farm.example may be entered")


def test_an_endless_subject_is_cut_and_the_body_is_not():
    row = notice(at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC))
    row.numbers["block"] = "very " * 60 + "long"
    made = mailed(row)
    assert (len(made.subject), made.subject[-1]) == (letters.SUBJECT_LENGTH, "…")
    assert "long may be entered" in made.body


def test_several_in_one_e_mail_the_weightiest_first():
    at = datetime(2026, 6, 3, 14, 30, tzinfo=UTC)
    first = notice(at=at)
    second = NoticeFactory(
        farm=first.farm, person=first.person, kind="sign_down_due", template="Take the sign at {gate} down.",
        created_at=first.created_at, path="/f/alder-bend/signs/",
    )  # fmt: skip
    made = mailed(first, second)
    assert made.subject == "Alder Bend Farm: 1 thing to do today"
    assert [part for part in made.body.split("\n\n") if ": " in part][:4] == [
        "Do today: Take the sign at East down.",
        "See it in the farm book: http://127.0.0.1:8000/f/alder-bend/signs/",
        "For your information: Block 7 North may be entered from Wed, Jun 3, 9:30 AM CDT for weeding.",
        "See it in the farm book: http://127.0.0.1:8000/f/alder-bend/board/",
    ]


def test_only_information_together_is_counted_in_the_subject():
    first = notice(at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC))
    second = NoticeFactory(farm=first.farm, person=first.person)
    assert mailed(first, second).subject == "Alder Bend Farm: 2 notices"


def test_a_dangerous_one_says_what_happens_when_nobody_answers():
    row = notice(at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC), urgent=True, rung=1)
    assert mailed(row).body.split("\n\n")[:3] == [
        "Call now: Block 7 North may be entered from Wed, Jun 3, 9:30 AM CDT for weeding.",
        "Open it and press “I have it”, or the next person is told.",
        "Nobody before you has answered.",
    ]


def test_a_row_that_lacks_a_slot_is_said_with_dots():
    row = notice(at=datetime(2026, 6, 3, 14, 30, tzinfo=UTC))
    row.numbers = {"block": "7 North"}
    assert "Block … may be entered from … for …." in mailed(row).body
