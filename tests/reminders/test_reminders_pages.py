"""The notices page, the banner and the badge."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.conf import settings
from django.db import connection
from django.template import Context, Template
from django.test.utils import CaptureQueriesContext

from apps.reminders import services
from apps.reminders.models import Notice
from tests.factories.reminders import NoticeFactory

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
PAGE = "/f/alder-bend/notices/"


def text(answer) -> str:
    main = answer.content.decode().split('<main id="main"')[1].split("</main>")[0]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main))


def test_grouped_by_the_farms_own_days_newest_first(cast, browser_client):
    # 04:30 UTC on June 2 is still June 1 in Chicago.
    for n, at in enumerate([NOON, datetime(2026, 6, 2, 4, 30, tzinfo=UTC), datetime(2026, 6, 2, 14, 0, tzinfo=UTC)]):
        NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id, created_at=at, numbers={"gate": str(n)})
    said = text(browser_client(cast.staff).get(PAGE))
    found = re.findall(r"(?:Mon|Tue), Jun \d, 2026|Gate \d is painted", said)
    assert found == [
        "Tue, Jun 2, 2026", "Gate 2 is painted", "Mon, Jun 1, 2026", "Gate 1 is painted", "Gate 0 is painted",
    ]  # fmt: skip


def test_seen_button_marks_it_and_the_count_falls(cast, browser_client):
    first, second = NoticeFactory.create_batch(2, farm=cast.farm, person_id=cast.staff.person_id)
    client = browser_client(cast.staff)
    assert "2 not seen yet." in text(client.get(PAGE))
    assert client.post(f"{PAGE}{first.pk}/seen/", follow=True).redirect_chain == [(PAGE, 302)]
    first.refresh_from_db(), second.refresh_from_db()
    assert (first.seen_at is None, second.seen_at) == (False, None)
    assert "1 not seen yet." in text(client.get(PAGE))


def test_all_seen_keeps_what_came_after_the_page_was_drawn(cast, browser_client):
    shown = NoticeFactory.create_batch(2, farm=cast.farm, person_id=cast.staff.person_id)
    after = NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id)
    browser_client(cast.staff).post(PAGE + "seen/", {"up_to": shown[-1].pk})
    after.refresh_from_db()
    assert after.seen_at is None
    assert "1 not seen yet." in text(browser_client(cast.staff).get(PAGE))


def test_older_ones_are_one_page_further(cast, browser_client):
    rows = NoticeFactory.create_batch(52, farm=cast.farm, person_id=cast.staff.person_id)
    client = browser_client(cast.staff)
    assert f"?before={rows[2].pk}" in client.get(PAGE).content.decode()
    older = client.get(f"{PAGE}?before={rows[2].pk}")
    assert text(older).count("is painted") == 2


def test_a_page_number_that_is_none_is_said(cast, browser_client):
    answer = browser_client(cast.staff).get(PAGE + "?before=yesterday")
    assert (answer.status_code, "Cannot be used as typed" in text(answer)) == (400, True)


def test_nothing_to_tell_is_said_with_the_time_it_was_looked_up(cast, browser_client):
    with time_machine.travel(NOON, tick=False):
        said = text(browser_client(cast.staff).get(PAGE))
    assert "Nothing to tell you. Looked up Mon, Jun 1, 7:00 AM CDT." in said


def test_a_name_with_markup_stays_text(cast, browser_client):
    NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id, numbers={"gate": "<b onclick=x>"})
    page = browser_client(cast.staff).get(PAGE).content.decode()
    assert ("<b onclick" in page, "Gate &lt;b onclick=x&gt; is painted." in page) == (False, True)


def test_the_page_costs_the_same_with_many(cast, browser_client):
    client, counts = browser_client(cast.staff), []
    for count in (1, 40):
        NoticeFactory.create_batch(count, farm=cast.farm, person_id=cast.staff.person_id)
        with CaptureQueriesContext(connection) as asked:
            client.get(PAGE)
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_only_managers_see_how_the_sweep_does(cast, browser_client):
    shown = {who: browser_client(getattr(cast, who)).get("/f/alder-bend/sweep/") for who in ("manager", "applicator")}
    assert "No: they are late. The board and the times on it do not depend on reminders." in text(shown["manager"])
    assert "This needs one of:" in text(shown["applicator"])


def banner(member) -> str:
    made = Template("{% load reminders %}{% late_banner member %}{% unseen_notices member as n %}[{{ n }}]")
    shown = re.sub(r"<[^>]+>", "", made.render(Context({"member": member})))
    return re.sub(r"\s+", " ", shown).replace(" [", "[").strip()


def test_the_banner_shows_when_no_sweep_ended_lately(cast, sources):
    sources()
    NoticeFactory(farm=cast.farm, person_id=cast.staff.person_id)
    never = "Reminders are late. They were never looked for. The board and the times on it do not depend on reminders."
    assert banner(cast.staff) == never + "[1]"
    with time_machine.travel(NOON, tick=False):
        services.sweep(NOON)
        assert banner(cast.staff) == "[1]"
    with time_machine.travel(NOON + timedelta(minutes=6), tick=False):
        assert banner(cast.staff).startswith("Reminders are late. They were last looked for Mon, Jun 1, 7:00 AM CDT.")
    assert banner(None) == "[0]"


def test_a_process_that_serves_pages_and_never_sweeps_knows_what_every_kind_weighs():
    """In a process of its own: here everything has been loaded by other tests."""
    code = (
        "import django; django.setup()\n"
        "from django.urls import get_resolver; get_resolver().url_patterns\n"
        "from apps.reminders import rules\n"
        "from apps.reminders.rules.names import KIND_NAMES\n"
        "known = {kind for kind, _ in rules.kinds()}\n"
        "print(rules.level_of('job_unsigned', urgent=False), *sorted(set(KIND_NAMES) - known))"
    )
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "farmops.settings"}
    said = subprocess.run([sys.executable, "-c", code], cwd=settings.BASE_DIR, env=env, capture_output=True, text=True)
    assert (said.stdout.split(), said.returncode) == (["do_today"], 0), said.stderr


def test_what_is_dangerous_and_unanswered_stands_first(cast, browser_client):
    me = [cast.staff.person_id]
    for occasion, urgent in (("first", True), ("second", False), ("third", False)):
        services.tell(
            farm=cast.farm, kind="sign_down_due", subject=("sign", 7), occasion=occasion, to=me,
            template=f"The {occasion}.", urgent=urgent, now=NOON,
        )  # fmt: skip
    client = browser_client(cast.staff)

    def order() -> list[str]:
        return re.findall(r"<span>The (\w+)\.", client.get(PAGE).content.decode())

    assert order() == ["first", "third", "second"]
    services.mark_seen(member=cast.staff, notice_id=Notice.rows.get(urgent=True).pk, now=NOON)
    assert order() == ["third", "second", "first"]


def test_the_kinds_a_program_hears_are_named_in_words(cast, browser_client):
    services.add_endpoint(member=cast.manager, url="https://program.example/", kinds=["entry_opens"], now=NOON)
    body = browser_client(cast.manager).get("/f/alder-bend/webhooks/").content.decode()
    assert "<dd>Entry time has run</dd>" in body
