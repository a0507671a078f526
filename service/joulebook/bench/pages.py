"""How long the service takes for every page of a site, and for every figure on them."""

import http.client
import re
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from html.parser import HTMLParser
from urllib.parse import urlsplit

import numpy as np

from joulebook.bench.questions import WrongAnswerError
from joulebook.bench.rounds import by_turns
from joulebook.bench.serving import PATIENCE_S, Served

#: Of a phone. [px]
WIDTH = 390


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTimes:
    """What one page or figure took.

    Attributes
    ----------
    path : str
        Its address on the service.
    is_figure : bool
        Whether it is a figure's data, fetched by the page once its numbers are painted.
    first_ms : float
        The first visit after the service began. [ms]
    p50_ms, p95_ms : float
        Of the later ones, from the request to the last byte. [ms]
    processor_ms : float
        What the service worked for each of them: no other program is in it. [ms]
    sent_bytes : int
        As they travel, compressed.
    """

    path: str
    is_figure: bool
    first_ms: float
    p50_ms: float
    p95_ms: float
    processor_ms: float
    sent_bytes: int


@dataclass(frozen=True, slots=True)
class Answer:
    """What came for one request."""

    took_ms: float
    sent_bytes: int
    body: bytes
    location: str | None


class _Links(HTMLParser):
    """What a page leads to: the pages of its site, and its figures."""

    def __init__(self) -> None:
        super().__init__()
        self.pages: list[str] = []
        self.figures: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """See html.parser."""
        named = dict(attrs)
        if tag == "a" and (address := named.get("href")):
            self.pages.append(address)
        if figure := named.get("data-figure"):
            self.figures.append(figure)


class Asker:
    """Asks for pages over one connection, as a browser does."""

    def __init__(self, served: Served) -> None:
        address = urlsplit(served.url)
        self._line = http.client.HTTPConnection(
            str(address.hostname), address.port, timeout=PATIENCE_S
        )
        self._line.connect()
        self._line.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def close(self) -> None:
        """Close the connection."""
        self._line.close()

    def ask(self, path: str, *, packed: bool = True) -> Answer:
        """Return what comes for an address.

        Raises
        ------
        WrongAnswerError
            If it is neither the page nor another address.
        """
        headers = {"Accept": "text/html", "Accept-Encoding": "gzip" if packed else "identity"}
        began_s = time.perf_counter()
        self._line.request("GET", path, headers=headers)
        answer = self._line.getresponse()
        body = answer.read()
        took_ms = (time.perf_counter() - began_s) * 1000
        if answer.status not in (200, 303, 307):
            raise WrongAnswerError(
                f"{path} was answered with {answer.status}",
                where="the pages that are measured",
                expected="the page, or another address",
            )
        return Answer(took_ms, len(body), body, answer.headers["Location"])


def measured_pages(
    served: Served, site: str, *, requests: int, progress: Callable[[int], None]
) -> list[PageTimes]:
    """Return what every page of a site's navigation took, and every figure that they show.

    Parameters
    ----------
    requests : int
        How often each is asked for after the first time, by turns with the others.
    progress : callable
        Told after every first visit how many there were.
    """
    asker = Asker(served)
    try:
        first = _first_visits(asker, site, progress)
        worked_ms: dict[str, list[float]] = {path: [] for path in first}

        def again(path: str) -> Callable[[int], None]:
            def call(_number: int) -> None:
                before = served.processor_ms()
                asker.ask(path)
                worked_ms[path].append(served.processor_ms() - before)

            return call

        took_s = by_turns({path: again(path) for path in first}, requests)
    finally:
        asker.close()
    return [
        PageTimes(
            path=path,
            is_figure="/figures/" in path,
            first_ms=answer.took_ms,
            p50_ms=float(np.percentile(took_s[path], 50)) * 1000,
            p95_ms=float(np.percentile(took_s[path], 95)) * 1000,
            processor_ms=float(np.mean(worked_ms[path])),
            sent_bytes=answer.sent_bytes,
        )
        for path, answer in first.items()
    ]


def _first_visits(asker: Asker, site: str, progress: Callable[[int], None]) -> dict[str, Answer]:
    """Visit the week page, what it leads to within the site, and the figures of all of them."""
    home = f"/sites/{site}"
    waiting = [home]
    found: dict[str, Answer] = {}
    # The week page leads to the navigation's pages; of the others only the figures are wanted.
    for path in waiting:
        if path in found:
            continue
        answer = asker.ask(path)
        if answer.location is not None:  # such as today's, whose date is in its address
            waiting.append(answer.location)
            continue
        found[path] = answer
        progress(len(found))
        if "/figures/" in path or path.endswith(".csv"):
            continue
        links = _links(asker.ask(path, packed=False).body)
        waiting += [_sized(figure) for figure in links.figures]
        if path == home:
            waiting += [each for each in links.pages if _is_page(each, home)]
    return found


def _links(html: bytes) -> _Links:
    links = _Links()
    links.feed(html.decode())
    return links


def _is_page(address: str, home: str) -> bool:
    """Tell whether an address is one of the site's pages, not a place on one."""
    return re.fullmatch(rf"{re.escape(home)}([/?][^#]*)?", address) is not None


def _sized(figure: str) -> str:
    """Return the address under which a phone asks for a figure."""
    mark = "&" if "?" in figure else "?"
    return f"{figure}{mark}scheme=light&width={WIDTH}"
