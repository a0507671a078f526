"""A run of the pages as a document, as lines, and against its bars."""

import asyncio
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from joulebook.bench import pages_browser, pages_run
from joulebook.bench.pages import PageTimes
from joulebook.bench.pages_browser import Painted, painted
from joulebook.bench.pages_run import (
    NotServedError,
    PagesReport,
    measure_pages,
    pages_bars,
    pages_document,
)
from joulebook.bench.pages_table import pages_lines
from joulebook.bench.quiet import Quietness
from joulebook.bench.serving import Served
from joulebook.cli import main
from tests.helpers.outside import needs_program
from tests.helpers.pages import measured_studio

_SEEN = Painted(
    largest_paint_ms=[700.0, 900.0, 800.0],
    numbers_without_scripts=True,
    library_after_numbers=True,
    library_bytes=1_400_000,
    library_again_bytes=0,
    points_a_pixel={"/sites/studio/figures/week": 0.02, "/sites/studio/figures/days/x": 1.98},
)


def _times(path: str, p95_ms: float) -> PageTimes:
    return PageTimes(
        path=path,
        is_figure="/figures/" in path,
        first_ms=90.0,
        p50_ms=11.0,
        p95_ms=p95_ms,
        processor_ms=10.0,
        sent_bytes=4_200,
    )


def _report(browser: Painted | str, *, p95_ms: float = 20.0) -> PagesReport:
    return PagesReport(
        conditions={"joulebook": "1.2.3", "days": 3653},
        quietness=Quietness(load_before=0.1, load_after=0.2, others_ratio=0.01, stolen_ratio=0.0),
        requests=60,
        times=[_times("/sites/studio", 12.0), _times("/sites/studio/months", p95_ms)],
        memory_mb=140.0,
        browser=browser,
    )


def test_bars_are_held_against_the_slowest_and_the_densest() -> None:
    bars = pages_bars(_report(_SEEN))
    assert [bar.measured for bar in bars] == [20.0, 10.0, 140.0, 800.0, 1.98]
    assert all(bar.holds for bar in bars)
    missed = pages_bars(_report(_SEEN, p95_ms=51.0))
    assert [bar.holds for bar in missed] == [False, True, True, True, True]


def test_without_a_browser_its_bars_are_not_measured() -> None:
    report = _report("playwright is not installed, so no browser was driven")
    assert [bar.holds for bar in pages_bars(report)] == [True, True, True, None, None]
    assert pages_document(report)["browser"] == {"reason": report.browser}
    lines = "\n".join(pages_lines(report))
    assert "in a browser: left out, for playwright is not installed" in lines
    assert "at most 1,500 ms: not measured" in lines


def test_lines_say_what_was_measured_and_what_was_missed() -> None:
    lines = "\n".join(pages_lines(_report(_SEEN, p95_ms=51.0)))
    assert "/sites/studio/months" in lines
    assert "slowest page or figure, p95: at most 50 ms: 51, MISSED" in lines
    assert "memory with all pages visited: at most 150 MB: 140, holds" in lines
    assert "numbers painted while no script had come: yes" in lines
    assert "drawing script: 1,400 kB the first time, 0 kB on a second visit" in lines
    without = Painted(**{**_as_given(_SEEN), "numbers_without_scripts": False})
    assert "had come: NO" in "\n".join(pages_lines(_report(without)))


def _as_given(seen: Painted) -> dict[str, Any]:
    return {name: getattr(seen, name) for name in Painted.__dataclass_fields__}


def test_the_document_is_json() -> None:
    document = json.loads(json.dumps(pages_document(_report(_SEEN)), allow_nan=False))
    assert document["pages"][0]["path"] == "/sites/studio"
    assert document["bars"][0]["holds"] is True
    assert document["machine"]["quiet"] is True


def test_a_service_that_does_not_start_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "joulebook.sqlite3").write_bytes(b"no database")
    with pytest.raises(NotServedError):
        measure_pages(
            tmp_path, "studio", days=1, step_s=120, requests=1, visits=1, progress=lambda _: None
        )


def test_it_waits_until_a_start_is_over_and_not_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    worked_ms = iter([0.0, 400.0, 500.0, 505.0])

    class Starting(Served):
        def processor_ms(self) -> float:
            return next(worked_ms)

    monkeypatch.setattr("joulebook.bench.pages_run.time.sleep", lambda _: None)
    pages_run.wait_for_quiet(Starting("", 0))
    assert list(worked_ms) == []
    endless = iter(range(0, 10_000, 1_000))

    class Busy(Served):
        def processor_ms(self) -> float:
            return float(next(endless))

    monkeypatch.setattr(pages_run, "_LONGEST_START_S", 0.0)
    pages_run.wait_for_quiet(Busy("", 0))
    assert next(endless) == 1_000


@pytest.mark.parametrize(("lacking", "words"), [("playwright", "playwright"), ("x", "chromium")])
def test_what_is_not_installed_is_said(
    monkeypatch: pytest.MonkeyPatch, lacking: str, words: str
) -> None:
    monkeypatch.setattr("joulebook.bench.pages_browser.shutil.which", lambda _: None)
    monkeypatch.setattr(
        pages_browser, "find_spec", lambda name: None if name == lacking else object()
    )
    reason = painted("http://127.0.0.1:9", "studio", [], visits=1)
    assert isinstance(reason, str)
    assert words in reason
    assert reason.endswith("so no browser was driven")


@pytest.mark.outside
def test_a_phone_paints_numbers_first_and_draws_two_points_a_pixel(tmp_path: Path) -> None:
    needs_program("chromium")
    measured_studio(tmp_path).database.close()
    report = measure_pages(
        tmp_path, "studio", days=10, step_s=300, requests=1, visits=1, progress=lambda _: None
    )
    seen = report.browser
    assert isinstance(seen, Painted)
    assert len(seen.largest_paint_ms) == 1
    assert seen.largest_paint_ms[0] > 0
    assert seen.numbers_without_scripts
    assert seen.library_after_numbers
    assert seen.library_bytes > 100_000
    assert seen.library_again_bytes == 0
    assert seen.points_a_pixel
    assert max(seen.points_a_pixel.values()) <= 2.4  # of the plot, which is narrower than its place


def test_a_condition_that_never_comes_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    class Tab:
        looks = 0

        async def evaluate(self, _expression: str) -> bool:
            self.looks += 1
            if self.looks == 2:
                # Its own clock alone: event loops of other tests' servers go by the real one, and
                # would wait until then.
                late = SimpleNamespace(monotonic=lambda: 1e12)
                monkeypatch.setattr("joulebook.bench.pages_browser.time", late)
            return False

    with pytest.raises(TimeoutError, match="never became true"):
        asyncio.run(pages_browser._until(Tab(), "false"))


@pytest.mark.outside
def test_the_command_builds_a_site_and_goes_on_with_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.cli.bench._QUICK_MONTHS", 1)
    monkeypatch.setattr("joulebook.bench.pages_run.painted", lambda *_, **__: "it was left out")
    keep = str(tmp_path / "kept")
    assert main(["bench", "--pages", "--quick", "--keep", keep]) == 0
    assert "what the pages set out to reach:" in capsys.readouterr().out
    assert main(["bench", "--pages", "--quick", "--json", "--keep", keep]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["browser"] == {"reason": "it was left out"}
    assert document["conditions"]["days"] >= 28


def test_what_is_not_to_be_kept_is_removed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    built: list[Path] = []

    def told(data_dir: Path, _months: int) -> int:
        built.append(data_dir)
        return 3653

    monkeypatch.setattr("joulebook.cli.bench._told", told)
    monkeypatch.setattr("joulebook.cli.bench.measure_pages", lambda *_, **__: _report(_SEEN))
    assert main(["bench", "--pages", "--in", str(tmp_path)]) == 0
    assert built[0].parent == tmp_path
    assert list(tmp_path.iterdir()) == []
    assert "largest paint of first visits" in capsys.readouterr().out
