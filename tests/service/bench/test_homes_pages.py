"""That homes that are made up are told as real ones, and what is timed of them."""

import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from joulebook.bench import homes_pages
from joulebook.bench.homes_made_up import fill_homes
from joulebook.bench.homes_pages import (
    ASKED,
    HomesPages,
    HomesTimes,
    homes_pages_lines,
    measure_homes_pages,
)
from joulebook.bench.quiet import Quietness
from joulebook.bench.serving import Served
from joulebook.cli import main
from joulebook.errors import UnavailableError
from joulebook.storage.database import Database
from joulebook.storage.home_lines import all_numbers, home_places
from joulebook.summaries.homes.lines import update_numbers, update_peers, update_told
from tests.helpers.pages import client_of
from tests.helpers.served import served
from tests.helpers.told_homes import NOON_MS


def test_homes_that_are_made_up_have_all_kinds_of_reasons(tmp_path: Path) -> None:
    done: list[int] = []
    with closing(Database.open(tmp_path)) as database:
        fill_homes(database, 250, now_ms=NOON_MS, seed=3, progress=done.append)
        with closing(database.connect()) as connection:
            assert update_numbers(database, connection, now_ms=NOON_MS, go_on=lambda: True) == 250
            update_peers(connection, go_on=lambda: True)
            update_told(connection, now_ms=NOON_MS, go_on=lambda: True)
            places = home_places(connection)
            kept = all_numbers(connection)
    assert done == [200, 250]
    reasons = {reason for each in places for reason in each.reasons}
    assert reasons >= {"silent", "alert", "unproven", "warranty-ends"}
    assert len({each.name for each in places}) == 250
    assert all(each.peers for each in kept)


@contextmanager
def served_here(data_dir: Path) -> Iterator[Served]:
    """Serve the pages by this process: a whole service takes seconds to start."""
    with closing(Database.open(data_dir)) as database:
        app = client_of(database, now_ms=NOON_MS).app
        with served(app) as url:
            yield Served(url, os.getpid())


def test_both_are_served_and_every_answer_is_timed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[Served] = []
    monkeypatch.setattr(homes_pages, "served_pages", served_here)
    monkeypatch.setattr(homes_pages, "wait_for_quiet", waited.append)
    found = measure_homes_pages(tmp_path, few=7, many=8, requests=1, clock_ms=lambda: NOON_MS)
    assert len(waited) == 2
    assert [each.name for each in found.times] == list(ASKED)
    for each in found.times:
        assert 0 < each.few_p50_ms <= each.few_p95_ms
        assert 0 < each.many_p50_ms <= each.many_p95_ms
        assert each.many_worked_ms > 0
    assert sorted(each.name for each in tmp_path.iterdir()) == ["homes-7", "homes-8"]


def test_what_was_filled_is_used_again_and_a_service_that_does_not_start_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("homes-1", "homes-2"):
        (tmp_path / name).mkdir()

    @contextmanager
    def nothing(_data_dir: Path) -> Iterator[None]:
        yield None

    monkeypatch.setattr(homes_pages, "served_pages", nothing)
    with pytest.raises(UnavailableError, match="did not start"):
        measure_homes_pages(tmp_path, few=1, many=2, requests=1, clock_ms=lambda: 0)
    assert list((tmp_path / "homes-1").iterdir()) == []


def test_the_command_prints_it_and_keeps_what_it_filled_where_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(homes_pages, "served_pages", served_here)
    monkeypatch.setattr(homes_pages, "wait_for_quiet", lambda _served: None)
    assert main(["bench", "--homes", "--quick", "--keep", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("10 and 60 homes served at once, 3 requests each")
    assert "first page: p95" in said
    assert sorted(each.name for each in tmp_path.iterdir()) == ["homes-10", "homes-60"]


@pytest.mark.parametrize(("p95_ms", "verdict"), [(100.0, "held"), (101.0, "MISSED")])
def test_the_bar_and_the_ratio_stand_beside_the_figures(p95_ms: float, verdict: str) -> None:
    times = HomesTimes(
        name="first page",
        few_p50_ms=10.0,
        few_p95_ms=20.0,
        many_p50_ms=25.0,
        many_p95_ms=p95_ms,
        many_worked_ms=9.0,
    )
    quiet = Quietness(load_before=0.1, load_after=0.2, others_ratio=0.0, stolen_ratio=0.0)
    found = HomesPages(few=100, many=10_000, requests=60, times=(times,), quiet=quiet)
    lines = homes_pages_lines(found)
    assert lines[0].startswith("100 and 10000 homes served at once, 60 requests each")
    assert lines[2].split() == ["first", "page", "10.0", "20.0", "25.0", f"{p95_ms}", "2.5", "9.0"]
    assert lines[3] == f"first page: p95 {p95_ms:.0f} ms, bar 100 ms: {verdict}"
    assert lines[4].endswith(": quiet")
