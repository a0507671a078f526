"""A week beside another, from readings to what is told; the studio's numbers are by hand."""

from contextlib import closing
from datetime import date

import pytest

from joulebook.core.corrections import Correction
from joulebook.core.daily.same_hours import Compared
from joulebook.core.estimate import Estimate, refused
from joulebook.storage.corrections import add_correction
from joulebook.summaries.recompute import recompute
from joulebook.web.spans import comparisons as compared_weeks
from joulebook.web.spans.comparisons import Beside, Comparisons
from joulebook.web.spans.weeks import Week
from joulebook.web.words.comparison_sentences import told_week
from tests.helpers.pages import FIRST_MS, HOUR_MS, NOW_MS, Studio, measured_studio, words_of

_WEEK, _BEFORE = Week(date(2026, 3, 2)), Week(date(2026, 2, 23))
_HALF = pytest.approx(0.01 / 3**0.5 * 1.6449, rel=1e-6)


@pytest.fixture(scope="module")
def busier(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """The studio, using twice as much from Monday 2 March on."""
    studio = measured_studio(tmp_path_factory.mktemp("busier"))
    doubled = Correction(
        id=0,
        device="load",
        quantity="power",
        kind="scale",
        value=2.0,
        from_ms=FIRST_MS + 7 * 24 * HOUR_MS,
        made_ms=NOW_MS,
    )
    with closing(studio.database.connect()) as connection:
        add_correction(connection, studio.site, doubled)
    recompute(studio.database, studio.site, clock_ms=lambda: NOW_MS)
    return studio


def test_a_week_so_far_is_compared_with_the_same_part_of_the_other(busier: Studio) -> None:
    beside = Comparisons(busier.database, max_gap_s=300.0).beside(
        busier.site, _WEEK, _BEFORE, now_ms=NOW_MS
    )
    # By hand: Monday 24 h, Tuesday without 05:55 to 12:00, Wednesday up to 11:55: of 60 h
    # 24 + 17.917 + 11.917 = 53.833 h, at 2 kW and at 1 kW.
    used = beside.numbers["load_wh"]
    assert used.here_wh == pytest.approx(2_000 * (24 + 18 - 1 / 12 + 12 - 1 / 12))
    assert used.there_wh == pytest.approx(1_000 * (24 + 18 - 1 / 12 + 12 - 1 / 12))
    assert used.difference.value == pytest.approx(used.there_wh)
    assert used.difference.coverage_ratio == pytest.approx(53.8333 / 60, rel=1e-5)
    assert used.difference.high is not None
    assert used.difference.value is not None
    assert used.difference.high / used.difference.value - 1 == _HALF
    assert beside.reason is None
    assert beside.coverage_ratio == used.difference.coverage_ratio


def test_a_week_without_readings_is_not_compared(busier: Studio) -> None:
    beside = Comparisons(busier.database, max_gap_s=300.0).beside(
        busier.site, _WEEK, _WEEK.year_before, now_ms=NOW_MS
    )
    assert beside.reason == "no reading of that week is there"
    assert beside.coverage_ratio == 0.0


def test_a_week_hardly_measured_is_not_compared(busier: Studio) -> None:
    # Of the week before there are two and a half days less a silence.
    later_ms = NOW_MS + 14 * 24 * HOUR_MS
    beside = Comparisons(busier.database, max_gap_s=300.0).beside(
        busier.site, _BEFORE, _WEEK, now_ms=later_ms
    )
    # By hand: 53.833 of 168 h.
    assert beside.reason == "only 32% of the time was measured in both; half of it is needed"


def test_what_two_days_have_in_common_is_read_once(
    busier: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[tuple[object, ...]] = []

    def counting(*asked: object, **_: float) -> dict[str, object]:
        read.append(asked)
        return {}

    monkeypatch.setattr(compared_weeks, "shared_days", counting)
    kept = Comparisons(busier.database, max_gap_s=300.0)
    for _ in range(2):
        kept.beside(busier.site, _WEEK, _BEFORE, now_ms=NOW_MS)
    assert len(read) == 3
    recompute(busier.database, busier.site, clock_ms=lambda: NOW_MS + 1)
    kept.beside(busier.site, _WEEK, _BEFORE, now_ms=NOW_MS)
    assert len(read) == 6
    monkeypatch.setattr(compared_weeks, "_MOST_KEPT", 1)
    other = Comparisons(busier.database, max_gap_s=300.0)
    for _ in range(2):
        other.beside(busier.site, _WEEK, _BEFORE, now_ms=NOW_MS)
    assert len(read) == 12


def _beside(**numbers: Compared) -> Beside:
    return Beside(other=_BEFORE, numbers=numbers, reason=None, coverage_ratio=1.0)


def _number(here_wh: float, there_wh: float, half_wh: float) -> Compared:
    change = here_wh - there_wh
    return Compared(
        here_wh,
        there_wh,
        Estimate(
            value=change,
            low=change - half_wh,
            high=change + half_wh,
            coverage_ratio=1.0,
            method="same-hours-1",
        ),
    )


def test_it_says_in_words_what_is_less_and_what_is_more() -> None:
    told = told_week(
        _beside(
            grid_import_wh=_number(8_800, 10_000, 300),
            load_wh=_number(30_000, 27_000, 200),
            pv_wh=_number(5_000, 5_000, 50),
        ),
        *("last week", "studio"),
        so_far=True,
    )
    assert told.title.replace("\N{NO-BREAK SPACE}", " ") == (
        "Last week, 23 February to 1 March 2026"
    )
    assert told.sentence.replace("\N{NO-BREAK SPACE}", " ") == (
        "Compared with the same hours of last week, the studio bought 1.2 kWh less from the grid "
        "(0.9\N{EN DASH}1.5 kWh), used 3.0 kWh more (2.8\N{EN DASH}3.2 kWh), and the panels made "
        "about as much (no measurable difference: \N{MINUS SIGN}0.05 to 0.05 kWh)."
    )
    assert told.measured is None
    assert told.rows[0] == (
        *("Bought", "8.8", "10.0", "\N{MINUS SIGN}1.20"),
        "\N{MINUS SIGN}1.50\N{NO-BREAK SPACE}to \N{MINUS SIGN}0.90",
        "100\N{NO-BREAK SPACE}%",
    )


def test_it_says_what_is_not_compared_and_why() -> None:
    nothing = Compared(None, None, refused("the meter was silent", method="same-hours-1"))
    told = told_week(
        _beside(pv_wh=_number(9_000, 4_000, 20), load_wh=nothing),
        *("the week before", "studio"),
        so_far=False,
    )
    assert told.sentence.startswith("Compared with the week before, the panels made 5.0")
    assert told.reasons == ["Used: not compared, since the meter was silent"]
    told = told_week(_beside(loss_wh=_number(9, 4, 20)), "x", "studio", so_far=False)
    assert told.sentence == "Compared with x, what differs stands in the table."


def test_the_page_tells_it_in_words_and_in_a_table(busier: Studio) -> None:
    page = words_of(busier.client.get("/sites/studio").text)
    assert "Compared with the same hours of last week, the studio bought about as much" in page
    assert "used 54 kWh more (53.3\N{EN DASH}54.3 kWh)" in page
    assert "Compared over 89 % of the time: only hours that both weeks have measured count" in page
    assert "Used 107.7 53.8 +53.83" in page
    assert (
        "It is not compared with the same hours of the same week a year before: "
        "no reading of that week is there."
    ) in page
    assert "docs/methods/same-hours.md" in page


def test_the_page_of_another_week_compares_it_too(busier: Studio) -> None:
    page = words_of(busier.client.get("/sites/studio?week=2026-W53").text)
    assert "It is not compared with the week 364 days before" in page
