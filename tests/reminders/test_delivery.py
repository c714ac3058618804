"""Letters: each notice in one of them, kept through crashes, outages and bad addresses."""

from __future__ import annotations

import smtplib
from datetime import UTC, datetime, time, timedelta

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from apps.people.models import Membership, Person
from apps.reminders import rules
from apps.reminders.delivery import mail as post
from apps.reminders.delivery import outbox
from apps.reminders.delivery.outbox import Passing
from apps.reminders.models import Letter, Notice
from apps.reminders.services import set_wishes, tell
from tests.factories.people import MembershipFactory, PersonFactory
from tests.factories.reminders import NoticeFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)  # on the farm
BACKEND = "tests.reminders.test_delivery.Stubborn"


class Stubborn(EmailBackend):
    """The world outside: accepts, except what ``trouble`` says about an address, or no connection at all."""

    trouble: dict[str, Exception] = {}
    unreachable = False

    def open(self):
        if self.unreachable:
            raise ConnectionRefusedError("no mail server")
        return True

    def send_messages(self, messages):
        for message in messages:
            if error := self.trouble.get(message.to[0]):
                raise error
        return super().send_messages(messages)


@pytest.fixture(autouse=True)
def stubborn(settings, monkeypatch):
    settings.EMAIL_BACKEND = BACKEND
    monkeypatch.setattr(Stubborn, "trouble", {})
    monkeypatch.setattr(Stubborn, "unreachable", False)
    return Stubborn


@pytest.fixture
def ana(cast) -> Person:
    Person.objects.filter(pk=cast.staff.person_id).update(email="ana@farm.example")
    return cast.person(cast.staff)


@pytest.fixture
def notice(cast, ana) -> Notice:
    return NoticeFactory(farm=cast.farm, person=ana, created_at=NOON)


def minutes(count: float) -> datetime:
    return NOON + timedelta(minutes=count)


def deliver(at: datetime):
    return post.deliver(Passing(at))


def letter() -> Letter:
    return Letter.rows.get()


def test_a_due_notice_is_mailed_once(notice):
    assert [deliver(minutes(n)).sent for n in range(3)] == [1, 0, 0]
    assert [m.to for m in mail.outbox] == [["ana@farm.example"]]
    row = letter()
    assert (row.outcome, row.done_at >= NOON, row.attempts, row.claimed_until) == ("sent", True, 1, None)


def test_it_is_not_mailed_before_its_time(notice):
    Notice.rows.update(due_at=minutes(10))
    assert [deliver(minutes(n)).sent for n in (9, 10)] == [0, 1]


def test_a_withdrawn_notice_is_not_mailed(notice):
    Notice.rows.update(withdrawn_at=NOON)
    assert deliver(minutes(1)).sent == 0
    assert (mail.outbox, Letter.rows.count()) == ([], 0)


def test_one_withdrawn_after_it_was_put_into_a_letter_is_left_out_of_it(cast, ana, notice):
    other = NoticeFactory(farm=cast.farm, person=ana, created_at=NOON, numbers={"gate": "West"})
    post.gather(NOON)
    Notice.rows.filter(pk=notice.pk).update(withdrawn_at=NOON)
    assert deliver(minutes(1)).sent == 1
    assert ("West" in mail.outbox[0].body, "East" in mail.outbox[0].body) == (True, False)
    Notice.rows.filter(pk=other.pk).update(withdrawn_at=NOON)


def test_a_letter_with_nothing_left_to_say_is_dropped(notice):
    post.gather(NOON)
    Notice.rows.update(withdrawn_at=NOON)
    assert (deliver(minutes(1)).sent, letter().outcome, mail.outbox) == (0, "dropped", [])


def test_what_one_person_is_told_at_the_same_time_comes_in_one_e_mail(cast, ana, notice):
    for gate in ("North", "West"):
        NoticeFactory(farm=cast.farm, person=ana, created_at=NOON, numbers={"gate": gate})
    assert deliver(NOON).sent == 1
    assert [("Gate " + gate in mail.outbox[0].body) for gate in ("East", "North", "West")] == [True] * 3


def test_the_next_one_waits_ten_minutes_and_what_is_dangerous_does_not(cast, ana, notice):
    deliver(NOON)
    NoticeFactory(farm=cast.farm, person=ana, created_at=minutes(1), numbers={"gate": "calm"})
    NoticeFactory(farm=cast.farm, person=ana, created_at=minutes(1), numbers={"gate": "loud"}, urgent=True)
    sent = [deliver(minutes(n)).sent for n in (1, 5, 9, 11)]
    assert sent == [1, 0, 0, 1]
    assert ["loud" in m.body for m in mail.outbox] == [False, True, False]


def test_a_flood_is_several_e_mails_and_loses_nothing(cast, ana):
    NoticeFactory.create_batch(post.MOST_IN_ONE + 20, farm=cast.farm, person=ana, created_at=NOON)
    assert deliver(NOON).sent == 2
    assert Notice.rows.filter(letter=None).count() == 0


def test_somebody_who_left_the_farm_gets_no_e_mail_about_it(cast, notice):
    Membership.objects.for_farm(cast.farm).filter(person=notice.person).update(active=False)
    assert deliver(minutes(1)).sent == 0
    assert (mail.outbox, letter().outcome) == ([], "dropped")


def test_a_crash_between_claim_and_send_is_made_good_when_the_lease_is_over(notice):
    post.gather(NOON)
    claimed = outbox.claim(Letter, Passing(NOON))  # and then the process dies
    assert claimed == letter()
    seconds = rules.LEASE.total_seconds()
    assert deliver(NOON + timedelta(seconds=seconds - 1)).sent == 0
    assert deliver(NOON + timedelta(seconds=seconds + 1)).sent == 1
    assert len(mail.outbox) == 1


def test_a_lease_goes_by_the_machines_clock_not_by_the_books(notice):
    post.gather(NOON)
    machine = datetime(2031, 1, 1, tzinfo=UTC)
    assert outbox.claim(Letter, Passing(NOON, machine)) == letter()
    assert post.deliver(Passing(NOON + timedelta(days=3), machine + timedelta(seconds=1))).sent == 0
    assert post.deliver(Passing(NOON + timedelta(days=3), machine + rules.LEASE + timedelta(seconds=5))).sent == 1


def test_a_crash_between_send_and_mark_repeats_the_e_mail_with_the_same_message_id(notice, monkeypatch):
    def dies(*args, **kwargs):
        raise SystemExit("killed")

    with monkeypatch.context() as patch:
        patch.setattr(outbox, "close", dies)
        with pytest.raises(SystemExit):
            deliver(NOON)
    deliver(minutes(2))
    first, second = (m.extra_headers["Message-ID"] for m in mail.outbox)
    assert first == second
    assert deliver(minutes(60)).sent == 0


def test_two_who_deliver_at_once_never_hold_the_same_letter(cast, ana, notice):
    NoticeFactory(farm=cast.farm, person=ana, occasion="second", urgent=True, created_at=NOON)
    post.gather(NOON)
    found = [outbox.claim(Letter, Passing(NOON)) for _ in range(3)]
    assert (len({row.pk for row in found[:2]}), found[2]) == (2, None)


def test_two_who_gather_at_once_put_a_notice_into_one_letter(notice):
    assert [post.gather(NOON) for _ in range(3)] == [1, 0, 0]


def test_a_refused_address_waits_and_the_others_go_on(cast, notice, stubborn):
    other = PersonFactory(email="rosa@farm.example")
    MembershipFactory(farm=cast.farm, person=other)
    NoticeFactory(farm=cast.farm, person=other, created_at=NOON)
    stubborn.trouble["ana@farm.example"] = smtplib.SMTPRecipientsRefused({"ana@farm.example": (550, b"no such box")})
    done = deliver(NOON)
    assert (done.sent, done.failed, done.errors) == (1, 1, [])
    assert [m.to for m in mail.outbox] == [["rosa@farm.example"]]
    assert Letter.rows.get(person=notice.person).last_error.startswith("SMTPRecipientsRefused")
    assert deliver(NOON + timedelta(seconds=50)).failed == 0
    assert deliver(minutes(2)).failed == 1


def test_after_eight_tries_it_is_given_up_stays_on_the_page_and_the_managers_hear_it(cast, notice, stubborn):
    stubborn.trouble["ana@farm.example"] = smtplib.SMTPDataError(554, b"refused")
    failed = [deliver(NOON + timedelta(hours=2 * n)).failed for n in range(10)]
    assert failed == [1] * 8 + [0, 0]
    assert (letter().outcome, letter().attempts) == ("given_up", 8)
    notice.refresh_from_db()
    assert (notice.withdrawn_at, notice.seen_at) == (None, None)
    told = Notice.rows.get(kind="letter_lost")
    assert (told.person_id, told.numbers) == (
        cast.manager.person_id, {"name": "Ana Ruiz", "address": "ana@farm.example"}
    )  # fmt: skip


def test_a_letter_that_says_letters_are_lost_tells_nobody_again(cast, stubborn):
    Person.objects.filter(pk=cast.manager.person_id).update(email="ines@farm.example")
    stubborn.trouble["ines@farm.example"] = smtplib.SMTPDataError(554, b"refused")
    NoticeFactory(farm=cast.farm, person_id=cast.manager.person_id, created_at=NOON)
    for n in range(40):
        deliver(NOON + timedelta(hours=2 * n))
    assert Notice.rows.filter(kind="letter_lost").count() == 1
    assert Letter.rows.filter(outcome="given_up").count() == 2


def test_a_letter_whose_sender_dies_every_time_is_given_up_too(notice):
    post.gather(NOON)
    for n in range(8):
        assert outbox.claim(Letter, Passing(minutes(2 * n))) == letter()
    last = outbox.claim(Letter, Passing(minutes(16)))
    assert (last.outcome, last.last_error) == ("given_up", "never finished")
    assert outbox.claim(Letter, Passing(minutes(30))) is None


def test_an_outage_of_the_mail_server_uses_up_no_tries(notice, stubborn):
    stubborn.unreachable = True
    for n in range(20):
        assert deliver(minutes(n)).errors == ["mail server: ConnectionRefusedError"]
    stubborn.unreachable = False
    assert deliver(minutes(21)).sent == 1
    assert letter().attempts == 1


def test_a_notice_that_lacks_something_holds_back_no_other(cast, ana, notice):
    Notice.rows.filter(pk=notice.pk).update(numbers={})
    NoticeFactory(farm=cast.farm, person=ana, occasion="second", created_at=NOON)
    assert (deliver(NOON).sent, "Gate … is painted." in mail.outbox[0].body) == (1, True)


def test_looking_at_an_empty_outbox_costs_two_queries(cast, django_assert_num_queries):
    with django_assert_num_queries(2):
        deliver(NOON)


# ---- when an e-mail may go out ---------------------------------------------------------


def told(cast, kind: str, at: datetime, *, urgent: bool = False) -> datetime | None:
    tell(
        farm=cast.farm, kind=kind, subject=("gate", 7), occasion=at.isoformat(), to=[cast.staff.person_id],
        template="Gate.", urgent=urgent, now=at,
    )  # fmt: skip
    return Notice.rows.get(kind=kind, occasion=at.isoformat()).due_at


# 2026-06-01 is CDT, five hours behind UTC. Quiet from 8 PM to 5 AM, morning e-mail at 5:15 AM (project rule).
NIGHT = datetime(2026, 6, 2, 3, 0, tzinfo=UTC)  # 10 PM


@pytest.mark.parametrize(
    ("kind", "urgent", "at", "due_at"),
    [
        ("sign_down_due", False, NOON, NOON),
        ("sign_down_due", False, NIGHT, datetime(2026, 6, 2, 10, 0, tzinfo=UTC)),
        ("entry_opens", False, NOON, datetime(2026, 6, 2, 10, 15, tzinfo=UTC)),
        ("entry_opens", False, NIGHT, datetime(2026, 6, 2, 10, 15, tzinfo=UTC)),
        ("sign_down_due", True, NIGHT, NIGHT),
        # The clocks go back on Nov 1 (15 USC 260a): 5:15 AM is CST, six hours behind.
        ("entry_opens", False, datetime(2026, 10, 31, 17, 0, tzinfo=UTC), datetime(2026, 11, 1, 11, 15, tzinfo=UTC)),
    ],
    ids=["day", "quiet hours", "information", "information at night", "dangerous at night", "over the clock change"],
)
def test_the_usual_hours(cast, ana, kind, urgent, at, due_at):
    assert told(cast, kind, at, urgent=urgent) == due_at


def wish(cast, **more):
    hours = {"quiet_from": time(20), "quiet_to": time(5), "digest_at": time(5, 15)}
    given = {**hours, "email": {}, "not_in_calendar": [], **more}
    return set_wishes(member=cast.staff, **given, now=NOON)


def test_wishes_by_kind_and_hour_are_kept(cast, ana):
    wish(cast, quiet_from=time(0), quiet_to=time(0), email={"entry_opens": "now", "sign_down_due": "page"})
    assert told(cast, "entry_opens", NIGHT) == NIGHT
    assert told(cast, "sign_down_due", NIGHT) is None
    assert told(cast, "sign_down_due", NOON, urgent=True) == NOON


def test_what_waits_follows_a_new_wish(cast, ana):
    told(cast, "entry_opens", NOON - timedelta(hours=1))
    wish(cast, email={"entry_opens": "now"})
    assert Notice.rows.get().due_at == NOON
    wish(cast, email={"entry_opens": "page"})
    assert Notice.rows.get().due_at is None
