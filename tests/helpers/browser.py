"""A real browser, of a phone's width where nothing else is asked for: Debian's chromium.

It is driven by playwright (https://playwright.dev/python/), whose asynchronous half runs in a
thread of its own: its other half would leave an event loop running in the tests' own thread, where
others begin theirs.
"""

import asyncio
import threading
import time
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal, TypeVar

from playwright.async_api import Browser as Chromium
from playwright.async_api import ConsoleMessage, Route, async_playwright
from playwright.async_api import Page as Tab

from tests.helpers.outside import needs_program

_PATIENCE_S = 60.0
_ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--hide-scrollbars")

_T = TypeVar("_T")


class _Loop:
    """An event loop in a thread of its own."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._thread.start()

    def run(self, work: Coroutine[Any, Any, _T]) -> _T:
        """Run a coroutine over there and return what it returns."""
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(2 * _PATIENCE_S)

    def end(self) -> None:
        """Stop, once nothing runs any more."""
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join()
        self._loop.close()


class Page:
    """One tab, and what its console said."""

    def __init__(self, loop: _Loop, chromium: Chromium) -> None:
        self._loop, self._chromium = loop, chromium
        self._tab: Tab | None = None
        self._device: dict[str, Any] = {}
        #: Errors and warnings of the console, and exceptions that no script caught.
        self.complaints: list[str] = []

    @property
    def tab(self) -> Tab:
        """Playwright's own page; its methods run by `run` only."""
        assert self._tab is not None, "look_like() comes first"
        return self._tab

    def run(self, work: Coroutine[Any, Any, _T]) -> _T:
        """Run what a method of `tab` returned, and return what comes of it."""
        return self._loop.run(work)

    def look_like(
        self,
        *,
        width: int = 390,
        height: int = 844,
        scale: float = 1,
        scheme: Literal["light", "dark"] = "light",
        scripts: bool = True,
        language: str = "en",
        mobile: bool = True,
    ) -> None:
        """Become a device of so many CSS pixels, in light or dark, with scripts or without.

        ``language`` is what the browser asks for. What is not ``mobile`` has a mouse.
        """
        device = {
            "device_scale_factor": scale,
            "is_mobile": mobile,
            "java_script_enabled": scripts,
            "locale": language,
        }
        if self._device != device:
            self._loop.run(self._become(device))
        self.run(self.tab.set_viewport_size({"width": width, "height": height}))
        self.run(self.tab.emulate_media(color_scheme=scheme))

    async def _become(self, device: dict[str, Any]) -> None:
        await self.close()
        context = await self._chromium.new_context(**device)
        self._tab, self._device = await context.new_page(), device
        self._tab.on("console", self._hear)
        self._tab.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(f"{message.text} {message.location.get('url', '')}")

    async def close(self) -> None:
        """Close the tab, and with it what it kept."""
        if self._tab is not None:
            await self._tab.context.close()
            self._tab = None

    def go(self, url: str) -> int:
        """Open an address, wait until it has loaded, and return the status of the answer."""
        answer = self.run(self.tab.goto(url, timeout=_PATIENCE_S * 1000))
        return 0 if answer is None else answer.status

    def lose(self, pattern: str) -> None:
        """Let requests for addresses of a pattern fail, as on a bad line."""

        async def fail(route: Route) -> None:
            await route.abort("connectionfailed")

        self.run(self.tab.route(pattern, fail))

    def find_again(self, pattern: str) -> None:
        """Let them through again."""
        self.run(self.tab.unroute(pattern))

    def cut_off(self, away: bool) -> None:
        """Cut the network, or mend it."""
        self.run(self.tab.context.set_offline(away))

    def press(self, key: str) -> None:
        """Press a key of the keyboard."""
        self.run(self.tab.keyboard.press(key))

    def evaluate(self, expression: str) -> Any:
        """Return the value of an expression of JavaScript in the page."""
        return self.run(self.tab.evaluate(expression))

    def wait_for(self, expression: str) -> None:
        """Wait until an expression is true in the page."""
        deadline = time.monotonic() + _PATIENCE_S
        while not self.evaluate(expression):
            assert time.monotonic() < deadline, f"never became true: {expression}"
            time.sleep(0.02)

    def wait_for_figures(self) -> None:
        """Wait until every figure of the page is drawn, or said to be missing."""
        self.wait_for("[...document.querySelectorAll('[data-figure]')].every(p => p.dataset.drawn)")

    def picture(self, *, whole: bool = False, clear: bool = False) -> bytes:
        """Return a PNG of what the window shows, or of the whole page; ``clear`` of its paper."""
        return self.run(self.tab.screenshot(full_page=whole, omit_background=clear))

    def printed(self) -> bytes:
        """Return the page as a PDF on A4."""
        return self.run(self.tab.pdf(format="A4"))


@contextmanager
def opened_page() -> Iterator[Page]:
    """Start a browser with a new profile, and end it afterwards."""
    program = needs_program("chromium")
    loop = _Loop()
    try:
        started = loop.run(async_playwright().start())
        chromium = loop.run(started.chromium.launch(executable_path=program, args=list(_ARGUMENTS)))
        try:
            page = Page(loop, chromium)
            page.look_like()
            yield page
        finally:
            loop.run(page.close())
            loop.run(chromium.close())
            loop.run(started.stop())
    finally:
        loop.end()


def screenshot(
    url: str,
    path: Path,
    *,
    width: int = 390,
    height: int = 844,
    scale: float = 1,
    scheme: Literal["light", "dark"] = "light",
    whole: bool = False,
) -> None:
    """Keep a PNG of a page, its figures drawn, as a phone of that size shows it.

    ``scale`` 2 gives twice the pixels; ``whole`` the page down to its end.
    """
    with opened_page() as page:
        page.look_like(width=width, height=height, scale=scale, scheme=scheme)
        page.go(url)
        page.wait_for_figures()
        path.write_bytes(page.picture(whole=whole))
