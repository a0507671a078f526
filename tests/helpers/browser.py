"""A real browser of a phone's width, driven over the DevTools protocol's pipe.

The protocol: https://chromedevtools.github.io/devtools-protocol/ (messages of JSON, each ended by
a zero byte, on file descriptors 3 and 4 with ``--remote-debugging-pipe``). Chromium's own
``--screenshot`` does not go below a window of 500 px, the emulation of a device does.
"""

import base64
import json
import os
import select
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

from tests.helpers.outside import needs_program

_PATIENCE_S = 30.0
_ARGUMENTS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--remote-debugging-pipe",
)

#: Puts two descriptors where the protocol wants them, and becomes the program.
_AT_3_AND_4 = """
import fcntl, os, sys
above = [fcntl.fcntl(int(number), fcntl.F_DUPFD, 10) for number in sys.argv[1:3]]
for wanted, descriptor in zip((3, 4), above):
    os.dup2(descriptor, wanted)
os.execv(sys.argv[3], sys.argv[3:])
"""


class Page:
    """One tab, and what its console said."""

    def __init__(self, to_browser: int, from_browser: int) -> None:
        self._to, self._from = to_browser, from_browser
        self._unread = b""
        self._number = 0
        self._session: str | None = None
        self._loads = 0
        #: Errors and warnings of the console, and exceptions that no script caught.
        self.complaints: list[str] = []

    def open_tab(self) -> None:
        """Make the tab and listen to its console."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        attached = self.call("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self.call(f"{domain}.enable")

    def look_like(
        self,
        *,
        width: int = 390,
        height: int = 844,
        scale: float = 1,
        scheme: Literal["light", "dark"] = "light",
        scripts: bool = True,
    ) -> None:
        """Become a device of so many CSS pixels, in light or dark, with scripts or without."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=scale,
            mobile=True,
        )
        self.call(
            "Emulation.setEmulatedMedia",
            features=[{"name": "prefers-color-scheme", "value": scheme}],
        )
        self.call("Emulation.setScriptExecutionDisabled", value=not scripts)

    def go(self, url: str) -> None:
        """Open an address and wait until it has loaded."""
        loads = self._loads
        self.call("Page.navigate", url=url)
        deadline = time.monotonic() + _PATIENCE_S
        while self._loads == loads:
            self._read(deadline)

    def evaluate(self, expression: str) -> Any:
        """Return the value of an expression of JavaScript in the page."""
        answer = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def wait_for(self, expression: str) -> None:
        """Wait until an expression is true in the page."""
        deadline = time.monotonic() + _PATIENCE_S
        while not self.evaluate(expression):
            assert time.monotonic() < deadline, f"never became true: {expression}"
            time.sleep(0.02)

    def wait_for_figures(self) -> None:
        """Wait until every figure of the page is drawn, or said to be missing."""
        self.wait_for("[...document.querySelectorAll('[data-figure]')].every(p => p.dataset.drawn)")

    def picture(self, *, whole: bool = False) -> bytes:
        """Return a PNG of what the window shows, or of the whole page."""
        clip = {}
        if whole:
            size = self.call("Page.getLayoutMetrics")["cssContentSize"]
            clip = {"clip": {"x": 0, "y": 0, "scale": 1, **_size(size)}}
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=whole, **clip)
        return base64.b64decode(shot["data"])

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Ask the browser and return its answer."""
        self._number += 1
        number = self._number
        message: dict[str, Any] = {"id": number, "method": method, "params": parameters}
        if self._session is not None:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        deadline = time.monotonic() + _PATIENCE_S
        while True:
            answer = self._read(deadline)
            if answer.get("id") == number:
                assert "error" not in answer, answer["error"]
                result: dict[str, Any] = answer["result"]
                return result

    def _read(self, deadline: float) -> dict[str, Any]:
        while b"\0" not in self._unread:
            ready, _, _ = select.select([self._from], [], [], max(0, deadline - time.monotonic()))
            assert ready, "the browser does not answer"
            received = os.read(self._from, 1 << 20)
            assert received, "the browser has ended"
            self._unread += received
        raw, _, self._unread = self._unread.partition(b"\0")
        message: dict[str, Any] = json.loads(raw)
        self._note(message.get("method"), message.get("params", {}))
        return message

    def _note(self, event: str | None, told: dict[str, Any]) -> None:
        if event == "Page.loadEventFired":
            self._loads += 1
        elif event == "Runtime.exceptionThrown":
            self.complaints.append(str(told["exceptionDetails"]))
        elif event == "Runtime.consoleAPICalled" and told["type"] in ("error", "warning"):
            self.complaints.append(str(told["args"]))
        elif event == "Log.entryAdded" and told["entry"]["level"] in ("error", "warning"):
            self.complaints.append(f"{told['entry']['text']} {told['entry'].get('url', '')}")


def _size(size: dict[str, float]) -> dict[str, float]:
    return {"width": size["width"], "height": size["height"]}


@contextmanager
def opened_page() -> Iterator[Page]:
    """Start a browser with a new profile, and end it afterwards."""
    program = needs_program("chromium")
    to_read, to_write = os.pipe()
    from_read, from_write = os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        process = subprocess.Popen(
            [
                *(sys.executable, "-c", _AT_3_AND_4, str(to_read), str(from_write)),
                *(program, *_ARGUMENTS, f"--user-data-dir={profile}"),
            ],
            pass_fds=(to_read, from_write),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(from_write)
        try:
            page = Page(to_write, from_read)
            page.open_tab()
            yield page
        finally:
            process.kill()
            process.wait()
            os.close(to_write)
            os.close(from_read)


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
