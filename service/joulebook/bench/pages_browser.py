"""What a phone of 390 pixels makes of the pages: when it paints, and how much it draws.

Driven by playwright, where that and a chromium are installed; its processor is slowed down four
times, as a common phone's is.
"""

import asyncio
import shutil
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

SLOWDOWN = 4
_PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
}
_PATIENCE_MS = 120_000

_WATCH = """
new PerformanceObserver((list) => {
  for (const entry of list.getEntries()) window.largestMs = entry.startTime;
}).observe({type: "largest-contentful-paint", buffered: true});
"""
_PAINTED = "performance.getEntriesByName('first-contentful-paint').length > 0"
_DRAWN = "[...document.querySelectorAll('[data-figure]')].every((each) => each.dataset.drawn)"
_FIGURES = """
[...document.querySelectorAll("[data-figure]")].map((each) => ({
  path: each.dataset.figure,
  points: Math.max(...each.data.map((trace) => trace.y?.length ?? 0)),
  pixels: each._fullLayout._size.w,
}))
"""
_SCRIPTS = """
performance.getEntriesByType("resource")
  .filter((each) => each.initiatorType === "script")
  .map((each) => ({name: each.name, startMs: each.startTime, sent: each.transferSize}))
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Painted:
    """What a phone did.

    Attributes
    ----------
    largest_paint_ms : list of float
        When the largest content was painted, of each first visit to the week page. [ms]
    numbers_without_scripts : bool
        Whether the numbers were painted while no script had come.
    library_after_numbers : bool
        Whether the drawing script was asked for only after the numbers were painted.
    library_bytes : int
        What it took to come, the first time.
    library_again_bytes : int
        And on the next page, out of the browser's own store.
    points_a_pixel : dict of str to float
        Of each figure: points of its densest line for each pixel that it is wide.
    """

    largest_paint_ms: list[float]
    numbers_without_scripts: bool
    library_after_numbers: bool
    library_bytes: int
    library_again_bytes: int
    points_a_pixel: dict[str, float]


def painted(url: str, site: str, pages: Sequence[str], *, visits: int) -> Painted | str:
    """Return what a phone makes of a site's pages, or why that was left out.

    Parameters
    ----------
    url : str
        Of the service.
    pages : sequence of str
        The paths of the pages whose figures are looked at.
    visits : int
        How many first visits are paid to the week page.
    """
    program = shutil.which("chromium")
    if find_spec("playwright") is None:
        return "playwright is not installed, so no browser was driven"
    if program is None:
        return "no chromium is installed, so no browser was driven"
    return asyncio.run(_looks(program, url, f"/sites/{site}", pages, visits))


async def _looks(program: str, url: str, week: str, pages: Sequence[str], visits: int) -> Painted:
    # Here, for it is no part of what joulebook needs.
    from playwright.async_api import async_playwright

    async with async_playwright() as driver:
        browser = await driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        phone = _Phone(browser, url)
        first = [await phone.first_visit(week) for _ in range(visits)]
        return Painted(
            largest_paint_ms=[each.largest_ms for each in first],
            numbers_without_scripts=await phone.paints_without_scripts(week),
            library_after_numbers=all(each.library_ms >= each.largest_ms for each in first),
            library_bytes=first[0].library_bytes,
            library_again_bytes=first[0].library_again_bytes,
            points_a_pixel=await phone.points(pages),
        )


@dataclass(frozen=True, slots=True)
class _Visit:
    """A first visit: the largest paint, and when and in how many bytes the last script came."""

    largest_ms: float
    library_ms: float
    library_bytes: int
    library_again_bytes: int


class _Phone:
    """Each visit is a new phone's: nothing is kept from the one before."""

    def __init__(self, browser: Any, url: str) -> None:
        self._browser = browser
        self._url = url

    async def first_visit(self, path: str) -> _Visit:
        """Open a page, wait for its pictures, and open it once more."""
        tab = await self._new_tab(slowdown=SLOWDOWN)
        await tab.goto(self._url + path)
        await _until(tab, _DRAWN)
        largest_ms = float(await tab.evaluate("window.largestMs"))
        library = max(await tab.evaluate(_SCRIPTS), key=lambda each: float(each["startMs"]))
        await tab.reload()
        await _until(tab, _DRAWN)
        again = {each["name"]: each["sent"] for each in await tab.evaluate(_SCRIPTS)}
        await tab.context.close()
        return _Visit(
            largest_ms, float(library["startMs"]), library["sent"], again[library["name"]]
        )

    async def paints_without_scripts(self, path: str) -> bool:
        """Tell whether the numbers are painted while scripts are held back."""
        tab = await self._new_tab(slowdown=SLOWDOWN)
        held: list[Any] = []

        async def hold(route: Any) -> None:
            held.append(route)

        await tab.route("**/*.js", hold)
        await tab.goto(self._url + path, wait_until="commit")
        await _until(tab, _PAINTED)
        shown = await tab.locator("main td").first.is_visible()
        for route in held:
            await route.abort()
        await tab.context.close()
        return bool(shown and held)

    async def points(self, pages: Sequence[str]) -> dict[str, float]:
        """Return the points for each pixel, of the densest line of every figure."""
        tab = await self._new_tab(slowdown=1)
        found: dict[str, float] = {}
        for path in pages:
            await tab.goto(self._url + path)
            await _until(tab, _DRAWN)
            for each in await tab.evaluate(_FIGURES):
                found[each["path"]] = each["points"] / each["pixels"]
        await tab.context.close()
        return found

    async def _new_tab(self, *, slowdown: int) -> Any:
        context = await self._browser.new_context(**_PHONE)
        context.set_default_timeout(_PATIENCE_MS)
        tab = await context.new_page()
        await tab.add_init_script(_WATCH)
        session = await context.new_cdp_session(tab)
        await session.send("Emulation.setCPUThrottlingRate", {"rate": slowdown})
        return tab


async def _until(tab: Any, expression: str) -> None:
    """Wait until an expression is true; playwright's own waiting is forbidden by our pages."""
    deadline = time.monotonic() + _PATIENCE_MS / 1000
    while not await tab.evaluate(expression):
        if time.monotonic() > deadline:
            raise TimeoutError(f"never became true in a browser: {expression}")
        await asyncio.sleep(0.02)
