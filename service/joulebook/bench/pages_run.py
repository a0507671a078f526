"""The run that measures pages, from a data directory to the report."""

import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from joulebook.bench.conditions import conditions
from joulebook.bench.pages import PageTimes, measured_pages
from joulebook.bench.pages_browser import SLOWDOWN, Painted, painted
from joulebook.bench.quiet import Quietness, Watch
from joulebook.bench.serving import Served, served_pages

#: A service that works less than this in half a second has done what a start brings. [ms]
_IDLE_MS = 10.0
_LONGEST_START_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PagesReport:
    """What a run found; ``browser`` is the reason where none was driven."""

    conditions: dict[str, Any]
    quietness: Quietness
    requests: int
    times: list[PageTimes]
    memory_mb: float
    browser: Painted | str


@dataclass(frozen=True, slots=True)
class PagesBar:
    """What the pages should reach, and whether they did; ``None`` where it was not measured."""

    title: str
    unit: str
    wanted: float
    measured: float | None

    @property
    def holds(self) -> bool | None:
        """Whether it was reached."""
        return None if self.measured is None else self.measured <= self.wanted


class NotServedError(Exception):
    """The service did not start, and its log says why."""


def measure_pages(
    data_dir: Path,
    site: str,
    *,
    days: int,
    step_s: int,
    requests: int,
    visits: int,
    progress: Callable[[int], None],
) -> PagesReport:
    """Serve a data directory and measure its pages.

    Parameters
    ----------
    days, step_s : int
        How many days the site holds, and how far apart its readings are, for the report.
    requests : int
        For each page, after the first.
    visits : int
        First visits of a phone to the week page.
    progress : callable
        Told after every first visit how many there were.

    Raises
    ------
    NotServedError
        If the service does not start.
    WrongAnswerError
        If a page is refused.
    """
    watch = Watch()
    with served_pages(data_dir) as served:
        if served is None:
            raise NotServedError(f"the service did not start in {data_dir}")
        wait_for_quiet(served)
        times = measured_pages(served, site, requests=requests, progress=progress)
        memory_mb = served.peak_mb()
        pages = [each.path for each in times if not each.is_figure]
        browser = painted(served.url, site, pages, visits=visits)
        return PagesReport(
            conditions=_conditions(days, step_s),
            quietness=watch.end(beside_s=served.processor_ms() / 1000),
            requests=requests,
            times=times,
            memory_mb=memory_mb,
            browser=browser,
        )


def _conditions(days: int, step_s: int) -> dict[str, Any]:
    # The other site is no part of this run, and no rival is.
    left_out = {"readings", "series", "duckdb", "pyarrow", "pandas", "polars"}
    known = conditions(days, 0) | {"step_s": step_s}
    return {name: value for name, value in known.items() if name not in left_out}


def wait_for_quiet(served: Served) -> None:
    """Wait until the service has looked through what it found at its start."""
    deadline = time.monotonic() + _LONGEST_START_S
    before = served.processor_ms()
    while time.monotonic() < deadline:
        time.sleep(0.5)
        now = served.processor_ms()
        if now - before < _IDLE_MS:
            return
        before = now


def pages_bars(report: PagesReport) -> list[PagesBar]:
    """Return the bars, and what the run says of them."""
    seen = report.browser if isinstance(report.browser, Painted) else None
    return [
        PagesBar(
            *("slowest page or figure, p95", "ms", 50.0),
            max(each.p95_ms for each in report.times),
        ),
        PagesBar(
            *("the same in processor time, mean", "ms", 50.0),
            max(each.processor_ms for each in report.times),
        ),
        PagesBar("memory with all pages visited", "MB", 150.0, report.memory_mb),
        PagesBar(
            *(f"largest paint of a first visit, processor slowed {SLOWDOWN} times", "ms", 1500.0),
            float(np.median(seen.largest_paint_ms)) if seen else None,
        ),
        PagesBar(
            # Two a pixel, and the readings on either side of gaps.
            *("points a pixel, densest figure", "", 2.1),
            max(seen.points_a_pixel.values()) if seen else None,
        ),
    ]


def pages_document(report: PagesReport) -> dict[str, Any]:
    """Return the report as JSON can hold it."""
    seen = report.browser
    return {
        "conditions": report.conditions,
        "machine": {**asdict(report.quietness), "quiet": report.quietness.quiet},
        "requests": report.requests,
        "pages": [asdict(each) for each in report.times],
        "memory_mb": report.memory_mb,
        "browser": {"reason": seen} if isinstance(seen, str) else asdict(seen),
        "bars": [{**asdict(bar), "holds": bar.holds} for bar in pages_bars(report)],
    }
