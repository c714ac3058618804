"""What each role sees first, and that it is true."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.dashboard import queries
from apps.dashboard.rules import MOST_NEEDS, Need, Urgency, most_urgent
from apps.spraying import services
from apps.training.models import Certificate
from farmops import wording
from tests.conftest import Cast
from tests.factories.crops import PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.products import DraftFactory, ProductFactory
from tests.factories.spraying import ENDED, NOW, SIGNED, WINDOW, line, plot_of
from tests.factories.work import TaskFactory

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def said(needs) -> list[tuple[str, str, str]]:
    return [(n.urgency, wording.fill(n.template, n.numbers, "en"), n.path) for n in needs]


# ---- rules ---------------------------------------------------------------------------------


def need(number: int, urgency: Urgency) -> Need:
    return Need(urgency=urgency, template=str(number), numbers={}, path="/", act="")


def test_the_most_urgent_come_first_and_no_more_than_seven_are_shown():
    rows = [need(n, u) for n, u in enumerate([Urgency.SOON] * 5 + [Urgency.TODAY] * 2 + [Urgency.NOW] * 2)]
    shown, more = most_urgent(rows)
    assert [n.template for n in shown] == ["7", "8", "5", "6", "0", "1", "2"]
    assert (len(shown), more) == (MOST_NEEDS, 2)


# ---- the manager's -------------------------------------------------------------------------


@pytest.mark.django_db
class TestWhatNeedsTheManager:
    def test_an_unsigned_job(self, bench):
        job = bench.sprayed()
        found = said(queries.home(bench.farm, ENDED + HOUR).needs)
        assert found == [
            (
                "today",
                "Job 1 on N1 North 1 is sprayed and not signed by Luis Mora. The blocks stay closed.",
                f"/f/alder-bend/jobs/{job.pk}/",
            )
        ]

    def test_a_job_past_its_window(self, bench):
        job = bench.assigned()
        assert said(queries.home(bench.farm, WINDOW[1]).needs) == [
            (
                "now",
                "Job 1 on N1 North 1: its window ended Mon, Jul 6, 11:00 AM CDT and Luis Mora has not reported.",
                f"/f/alder-bend/jobs/{job.pk}/",
            )
        ]
        assert queries.home(bench.farm, WINDOW[1] - HOUR).needs == []

    def test_a_started_job_past_its_window(self, bench):
        bench.spraying()
        (found,) = said(queries.home(bench.farm, WINDOW[1]).needs)
        assert found[:2] == (
            "now",
            "Job 1 on N1 North 1 was started and its window ended Mon, Jul 6, 11:00 AM CDT. Ask Luis Mora.",
        )

    def test_a_job_called_off_in_doubt(self, bench):
        job = bench.assigned()
        services.call_off(member=bench.manager, job_id=job.pk, reason="rain came", now=WINDOW[0] + HOUR)
        (found,) = said(queries.home(bench.farm, WINDOW[0] + 2 * HOUR).needs)
        assert found[:2] == (
            "now",
            "Job 1 on N1 North 1 was called off after its window began. Luis Mora must sign or report.",
        )

    def test_an_unchecked_label(self, bench):
        draft = DraftFactory(product=ProductFactory(farm=bench.farm, name="Demo New"), number=4)
        assert said(queries.home(bench.farm, NOW).needs) == [
            (
                "soon",
                "Label 4 of Demo New is not checked against the paper: no job may use it.",
                f"/f/alder-bend/labels/{draft.pk}/",
            )
        ]

    def test_stock_that_is_short(self, bench):
        """6 gal an acre is far more than the 5 gal in the shed."""
        bench.planned(products=[line(bench.product, "6", "gal")])
        missing = bench.blocks[0].planted_acres * 6 - 5
        (found,) = said(queries.home(bench.farm, NOW).needs)
        assert found[0] == "soon"
        assert found[1] == f"Demo Shield: {missing.normalize():f} gal is missing for the jobs planned."

    @pytest.mark.parametrize(
        ("valid_to", "urgency", "sentence"),
        [
            (date(2026, 8, 5), "soon", "The certificate of Luis Mora ends with Wed, Aug 5, 2026."),
            (date(2026, 7, 6), "soon", "The certificate of Luis Mora ends with Mon, Jul 6, 2026."),
            (date(2026, 7, 5), "today", "Luis Mora has no certificate that counts here today."),
        ],
        ids=["thirty days left", "last day", "over"],
    )
    def test_a_card_that_ends(self, bench, valid_to, urgency, sentence):
        Certificate.rows.update(valid_to=valid_to)
        assert [f[:2] for f in said(queries.home(bench.farm, NOW).needs)] == [(urgency, sentence)]

    def test_nothing_when_nothing_waits(self, bench):
        assert queries.home(bench.farm, NOW).needs == []


@pytest.mark.django_db
def test_what_is_closed_and_what_opens_first(bench):
    bench.signed()
    bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])
    found = queries.home(bench.farm, WINDOW[1] + HOUR)
    assert [(str(c.block), c.unsure, c.opens_at) for c in found.closed] == [
        ("N2 North 2", True, None),
        ("N1 North 1", False, ENDED + 12 * HOUR),
    ]
    assert str(found.first.block) == "N1 North 1"
    assert found.blocks == 2


@pytest.mark.django_db
def test_jobs_of_today_and_tomorrow_in_farm_days(bench):
    """Local midnight is 05:00 UTC in July (America/Chicago, CDT)."""
    tomorrow_late = NOW.replace(hour=4) + 2 * DAY  # 11 PM on July 7
    after = NOW.replace(hour=5) + 2 * DAY  # midnight, July 8
    for start in (tomorrow_late, after, WINDOW[0]):
        bench.planned(window_starts_at=start, window_ends_at=start + 3 * HOUR)
    assert [j.window_starts_at for j in queries.home(bench.farm, NOW).jobs] == [WINDOW[0], tomorrow_late]


@pytest.mark.django_db
def test_the_managers_page_costs_the_same_whatever_the_farm_holds(bench):
    bench.signed()
    bench.planned()
    bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])
    now = SIGNED + 3 * HOUR
    with CaptureQueriesContext(connection) as before:
        queries.home(bench.farm, now)
    for number in range(3, 7):
        block = BlockFactory(farm=bench.farm, code=f"N{number}", polygon=plot_of(number))
        PlantingFactory(farm=bench.farm, block=block, crop=bench.crop, sown_on=date(2026, 6, 10))
        bench.assigned(blocks=[{"block_id": block.pk}])
        bench.planned(blocks=[{"block_id": block.pk}])
        DraftFactory(product=ProductFactory(farm=bench.farm))
    with CaptureQueriesContext(connection) as after:
        queries.home(bench.farm, now)
    assert len(after) == len(before) <= 30


# ---- everybody's own -----------------------------------------------------------------------


@pytest.mark.django_db
def test_what_is_in_hand_comes_before_what_is_booked(bench):
    bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])
    started = bench.spraying()
    mine = queries.my_day(bench.applicator, NOW + 2 * HOUR)
    assert (mine.job.pk, mine.more_jobs) == (started.pk, 1)
    assert mine.certificate.number == "12345"
    assert queries.my_day(bench.manager, NOW).job is None


def page(browser_client, member, language="en") -> str:
    client = browser_client(member)
    client.cookies["django_language"] = language
    answer = client.get("/f/alder-bend/")
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.content.decode())


@pytest.fixture
def at_one_oclock(monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW + 6 * HOUR)


@pytest.mark.django_db
def test_the_manager_reads_what_is_closed_first(bench, browser_client, at_one_oclock):
    bench.signed()
    bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])
    html = page(browser_client, bench.manager)
    order = [html.index(w) for w in ("2 blocks are closed.", "Closed now", "Needs you", "Today and tomorrow")]
    assert order == sorted(order)
    assert "Next to open: N1 North 1, not before Mon, Jul 6, 9:40 PM CDT." in html
    assert html.count("KEEP OUT") == 2


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("state", "button"),
    [
        ("assigned", "Start spraying"),
        ("spraying", "Finish spraying"),
        ("sprayed", "Read back and sign"),
    ],
)
def test_the_applicator_has_one_next_action(bench, browser_client, at_one_oclock, state, button):
    job = getattr(bench, state)()
    html = page(browser_client, bench.applicator)
    acts = re.findall(r'<a class="button main act" href="([^"]+)">([^<]+)</a>', html)
    place = {"assigned": "start", "spraying": "finish", "sprayed": "sign"}[state]
    assert acts == [(f"/f/alder-bend/jobs/{job.pk}/{place}/", button)]
    assert "Certificate 12345, IN, good through Thu, Dec 31, 2026." in html


@pytest.mark.django_db
def test_an_applicator_without_a_card_is_told(bench, browser_client, at_one_oclock):
    Certificate.rows.update(valid_to=date(2026, 7, 5))
    assert "No certificate that counts here today is on file." in page(browser_client, bench.applicator)


@pytest.mark.django_db
def test_staff_come_to_the_board_first_and_then_to_their_tasks(bench, cast, browser_client, at_one_oclock):
    mine = TaskFactory(
        farm=bench.farm, block=bench.blocks[0], title="Thin the squash", assigned_to=Cast.person(cast.staff)
    )
    TaskFactory(farm=bench.farm, block=bench.blocks[0], title="Not mine", assigned_to=Cast.person(cast.applicator))
    html = page(browser_client, cast.staff)
    main = html[html.index("<main") :]
    assert main.index("/f/alder-bend/board/") < main.index(f"/f/alder-bend/tasks/{mine.pk}/")
    assert "Not mine" not in html
    assert "Needs you" not in html


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("path", "role", "marked"),
    [
        ("", "manager", ("/f/alder-bend/", "page")),
        ("board/", "staff", ("/f/alder-bend/board/", "page")),
        ("charts/", "manager", ("/f/alder-bend/charts/", "page")),
        ("audit/", "manager", ("/f/alder-bend/audit/", "page")),
        ("exports/", "manager", ("/f/alder-bend/records/", "true")),
        ("me/password/", "staff", ("/f/alder-bend/me/", "true")),
    ],
)
def test_the_navigation_marks_where_one_is(cast, browser_client, path, role, marked):
    html = browser_client(cast.by_role(role)).get(f"/f/alder-bend/{path}").content.decode()
    assert re.findall(r'<a href="([^"]+)" aria-current="([^"]+)">', html) == [marked]


@pytest.mark.django_db
def test_the_question_at_a_block_belongs_to_the_board(bench, cast, browser_client):
    path = f"/f/alder-bend/blocks/{bench.blocks[0].pk}/may-i-enter/"
    html = browser_client(cast.staff).get(path).content.decode()
    nav = html[html.index("<nav") : html.index("</nav>")]
    assert re.findall(r'<a href="([^"]+)" aria-current', nav) == ["/f/alder-bend/board/"]
