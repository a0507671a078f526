"""Events as pages and figures number them: the same numbers on both."""

import re
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from joulebook.core.spans import Span, local_day
from joulebook.storage.events import Event, EventKind, add_event, remove_event
from joulebook.web.spans.noted import noted_in, noted_of_record, noted_since
from tests.helpers.pages import FIRST_MS, HOUR_MS, NOW_MS, Studio, measured_studio, words_of

_DAY = "2026-02-25"
#: Wednesday 25 February 2026. [ms, UTC epoch]
_WEDNESDAY_MS = FIRST_MS + 48 * HOUR_MS


@pytest.fixture(scope="module")
def changed(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """The studio of round numbers, with what its owner noted."""
    studio = measured_studio(tmp_path_factory.mktemp("changed"))
    _note(studio, _WEDNESDAY_MS + 12 * HOUR_MS, "firmware", "Inverter firmware 4.2", "by the maker")
    _note(studio, _WEDNESDAY_MS + 18 * HOUR_MS, "wiring", "The lugs <tightened>")
    _note(studio, FIRST_MS + 175 * HOUR_MS, "panels", "Four more panels")
    gone = _note(studio, _WEDNESDAY_MS + 13 * HOUR_MS, "other", "Never happened")
    with closing(studio.database.connect()) as connection:
        remove_event(connection, studio.site, gone.id, now_ms=NOW_MS)
    return studio


def _note(studio: Studio, at_ms: int, kind: EventKind, title: str, note: str = "") -> Event:
    event = Event(id=0, at_ms=at_ms, kind=kind, title=title, note=note, made_ms=NOW_MS)
    with closing(studio.database.connect()) as connection:
        return add_event(connection, studio.site, event)


def test_numbers_count_within_the_span(changed: Studio) -> None:
    day = local_day(date.fromisoformat(_DAY), changed.site.zone)
    first, second = noted_in(changed.database, changed.site, day)
    assert (first.number, first.title, first.kind) == (1, "Inverter firmware 4.2", "firmware")
    assert (first.when, first.note) == (
        "25\N{NO-BREAK SPACE}February 2026 12:00 WET",
        "by the maker",
    )
    assert (second.number, second.at_ms) == (2, _WEDNESDAY_MS + 18 * HOUR_MS)
    later = Span(first.at_ms + 1, day.end_ms)
    assert [each.number for each in noted_in(changed.database, changed.site, later)] == [1]
    assert noted_in(changed.database, changed.site, Span(day.start_ms, first.at_ms)) == []


def test_since_a_day_means_until_now(changed: Studio) -> None:
    since = noted_since(changed.database, changed.site, date(2026, 2, 26), now_ms=NOW_MS)
    assert [each.title for each in since] == ["Four more panels"]
    assert noted_since(changed.database, changed.site, date(2027, 1, 1), now_ms=NOW_MS) == []


def test_a_record_that_is_not_analysed_has_none(changed: Studio) -> None:
    record: dict[str, Any] = {"reason": "it has not been analysed yet"}
    assert noted_of_record(changed.database, changed.site, record, now_ms=NOW_MS) == []
    all_of_it = noted_of_record(
        changed.database, changed.site, {"from": "2026-02-23"}, now_ms=NOW_MS
    )
    assert [each.number for each in all_of_it] == [1, 2, 3]


def _numbers(studio: Studio, page: str, figure: str) -> tuple[list[str], int]:
    """Return the numbers of the page's list, and how many lines the figure has."""
    html = studio.client.get(f"/sites/studio{page}").text
    (listed,) = re.findall(r'<ol class="noted".*?</ol>', html, flags=re.DOTALL)
    layout = studio.client.get(f"/sites/studio/figures{figure}").json()["layout"]
    lines = [each for each in layout["shapes"] if each.get("yref") == "paper"]
    return re.findall(r'<li value="(\d+)">', listed), len(lines)


@pytest.mark.parametrize(
    ("page", "figure", "count"),
    [
        ("?week=2026-W09", "/week?week=2026-W09", 2),
        ("", "/week", 1),
        (f"/days/{_DAY}", f"/days/{_DAY}", 2),
        ("/months", "/months", 3),
    ],
)
def test_a_page_lists_what_its_figure_marks(
    changed: Studio, page: str, figure: str, count: int
) -> None:
    assert _numbers(changed, page, figure) == ([str(each + 1) for each in range(count)], count)


def test_a_part_of_a_day_keeps_the_numbers_of_the_day_s_list(changed: Studio) -> None:
    part = f"/days/{_DAY}?from=16:00&to=20:00"
    assert _numbers(changed, part, part) == (["1", "2"], 1)
    layout = changed.client.get(f"/sites/studio/figures{part}").json()["layout"]
    boxes = [each for each in layout["annotations"] if each.get("captureevents")]
    assert [(each["text"], each["x"]) for each in boxes] == [("<b>2</b>", 2 * 3600.0)]


@pytest.mark.parametrize(
    ("page", "figure"),
    [("/efficiency", "/efficiency"), ("/wear", "/capacity"), ("/warranty", "/warranty")],
)
def test_so_do_the_pages_of_the_whole_record(short: Studio, page: str, figure: str) -> None:
    assert _numbers(short, page, figure) == (["1", "2"], 2)


def test_the_lines_stand_where_it_happened(changed: Studio, short: Studio) -> None:
    week = changed.client.get("/sites/studio/figures/week?week=2026-W09").json()["layout"]
    assert [each["x0"] for each in week["shapes"]] == [2.0, 2.25]  # Wednesday noon and 18:00
    day = changed.client.get(f"/sites/studio/figures/days/{_DAY}").json()["layout"]
    lines = [each["x0"] for each in day["shapes"] if each["yref"] == "paper"]
    assert lines == [12 * 3600.0, 18 * 3600.0]
    capacity = short.client.get("/sites/studio/figures/capacity").json()["layout"]
    lines = [each["x0"] for each in capacity["shapes"] if each.get("yref") == "paper"]
    assert lines == ["2026-01-30T00:00", "2026-02-22T00:00"]


def test_the_list_reads_without_scripts_and_takes_no_tags(changed: Studio) -> None:
    html = changed.client.get(f"/sites/studio/days/{_DAY}").text
    assert "The lugs &lt;tightened&gt;" in html
    words = words_of(html)
    assert "Inverter firmware 4.2 25 February 2026 12:00 WET, firmware by the maker" in words
    assert "Never happened" not in words


def test_a_page_without_events_has_no_list(studio: Studio, tmp_path: Path) -> None:
    assert tmp_path.is_dir()
    assert 'class="noted"' not in studio.client.get("/sites/studio").text


def test_a_comparison_of_weeks_says_what_was_changed_between_them(changed: Studio) -> None:
    words = words_of(changed.client.get("/sites/studio").text)
    between = words.partition("Changed since that time began")[2].partition(").")[0]
    assert "Inverter firmware 4.2 (25 February 2026 12:00 WET), The lugs" in between
    assert between.endswith("Four more panels (2 March 2026 07:00 WET")
    before = words_of(changed.client.get("/sites/studio?week=2026-W08").text)
    assert "Changed since" not in before


def test_of_many_changes_the_newest_are_named(tmp_path: Path) -> None:
    studio = measured_studio(tmp_path)
    for hour in range(7):
        _note(studio, FIRST_MS + (180 + hour) * HOUR_MS, "settings", f"Reserve {hour} %")
    words = words_of(studio.client.get("/sites/studio").text)
    between = words.partition("Changed since that time began")[2]
    assert "holds it too: Reserve 2 % (" in between
    assert "Reserve 6 % (2 March 2026 18:00 WET), and 2 before." in between
