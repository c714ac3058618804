"""The outbox: one e-mail per notice, kept through crashes, outages and bad addresses."""

from __future__ import annotations

import smtplib
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend

from apps.people.models import Membership, Person
from apps.reminders import delivery, rules
from apps.reminders.models import Notice
from tests.factories.people import MembershipFactory, PersonFactory
from tests.factories.reminders import NoticeFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
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
    return NoticeFactory(farm=cast.farm, person=ana)


def minutes(count: float) -> datetime:
    return NOON + timedelta(minutes=count)


def test_a_due_notice_is_mailed_once(notice):
    assert [delivery.deliver(minutes(n)).sent for n in range(3)] == [1, 0, 0]
    assert [m.to for m in mail.outbox] == [["ana@farm.example"]]
    notice.refresh_from_db()
    assert (notice.sent_at >= NOON, notice.attempts, notice.claimed_until) == (True, 1, None)


def test_it_is_not_mailed_before_its_time(notice):
    Notice.rows.update(due_at=minutes(10))
    assert [delivery.deliver(minutes(n)).sent for n in (9, 10)] == [0, 1]


def test_a_withdrawn_notice_is_not_mailed(notice):
    Notice.rows.update(withdrawn_at=NOON)
    assert delivery.deliver(minutes(1)).sent == 0
    assert mail.outbox == []


def test_somebody_who_left_the_farm_gets_no_e_mail_about_it(cast, notice):
    Membership.objects.for_farm(cast.farm).filter(person=notice.person).update(active=False)
    assert delivery.deliver(minutes(1)).sent == 0
    notice.refresh_from_db()
    assert (mail.outbox, notice.due_at, notice.sent_at) == ([], None, None)


def test_a_crash_between_claim_and_send_is_made_good_when_the_lease_is_over(notice):
    claimed = delivery.claim(NOON)  # and then the process dies
    assert claimed == notice
    seconds = rules.LEASE.total_seconds()
    assert delivery.deliver(NOON + timedelta(seconds=seconds - 1)).sent == 0
    assert delivery.deliver(NOON + timedelta(seconds=seconds)).sent == 1
    assert len(mail.outbox) == 1


def test_a_crash_between_send_and_mark_repeats_the_e_mail_with_the_same_message_id(notice, monkeypatch):
    def dies(*args, **kwargs):
        raise SystemExit("killed")

    with monkeypatch.context() as patch:
        patch.setattr(delivery, "_close", dies)
        with pytest.raises(SystemExit):
            delivery.deliver(NOON)
    delivery.deliver(minutes(2))
    first, second = (m.extra_headers["Message-ID"] for m in mail.outbox)
    assert first == second
    assert delivery.deliver(minutes(60)).sent == 0


def test_two_who_deliver_at_once_never_hold_the_same_e_mail(cast, ana, notice):
    NoticeFactory(farm=cast.farm, person=ana, occasion="second")
    first, second, third = (delivery.claim(NOON) for _ in range(3))
    assert (first.occasion, second.occasion, third) == ("once", "second", None)


def test_a_refused_address_waits_and_the_others_go_on(cast, notice, stubborn):
    other = PersonFactory(email="rosa@farm.example")
    MembershipFactory(farm=cast.farm, person=other)
    NoticeFactory(farm=cast.farm, person=other)
    stubborn.trouble["ana@farm.example"] = smtplib.SMTPRecipientsRefused({"ana@farm.example": (550, b"no such box")})
    done = delivery.deliver(NOON)
    assert (done.sent, done.failed, done.error) == (1, 1, "")
    assert [m.to for m in mail.outbox] == [["rosa@farm.example"]]
    notice.refresh_from_db()
    assert notice.last_error.startswith("SMTPRecipientsRefused")
    assert delivery.deliver(NOON + timedelta(seconds=59)).failed == 0
    assert delivery.deliver(minutes(2)).failed == 1


def test_after_eight_tries_it_is_given_up_and_stays_on_the_page(notice, stubborn):
    stubborn.trouble["ana@farm.example"] = smtplib.SMTPDataError(554, b"refused")
    failed = [delivery.deliver(NOON + timedelta(hours=2 * n)).failed for n in range(10)]
    assert failed == [1] * 8 + [0, 0]
    notice.refresh_from_db()
    assert (notice.attempts, notice.sent_at, notice.given_up_at is not None) == (8, None, True)
    assert (notice.withdrawn_at, notice.seen_at) == (None, None)


def test_a_notice_whose_sender_dies_every_time_is_given_up_too(notice):
    for n in range(8):
        assert delivery.claim(minutes(2 * n)) == notice
    assert delivery.claim(minutes(16)) is None
    notice.refresh_from_db()
    assert (notice.given_up_at, notice.last_error) == (minutes(16), "never finished")


def test_an_outage_of_the_mail_server_uses_up_no_tries(notice, stubborn):
    stubborn.unreachable = True
    for n in range(20):
        assert delivery.deliver(minutes(n)).error == "mail server: ConnectionRefusedError"
    stubborn.unreachable = False
    assert delivery.deliver(minutes(21)).sent == 1
    notice.refresh_from_db()
    assert notice.attempts == 1


def test_a_text_that_cannot_be_made_is_that_notices_trouble_alone(cast, ana, notice):
    Notice.rows.filter(pk=notice.pk).update(numbers={})
    NoticeFactory(farm=cast.farm, person=ana, occasion="second")
    done = delivery.deliver(NOON)
    assert (done.sent, done.failed) == (1, 1)


def test_looking_at_an_empty_outbox_costs_one_query(cast, django_assert_num_queries):
    with django_assert_num_queries(1):
        delivery.deliver(NOON)
