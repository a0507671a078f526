"""The content of requests: never longer, slower or more of it at once than can be borne."""

import asyncio
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from starlette.requests import Request
from starlette.types import Message, Receive

from joulebook.web.access.forms import MOST_BYTES as MOST_OF_A_FORM
from joulebook.web.access.parts import MOST_BYTES as MOST_WITH_FILE
from joulebook.web.api.delivery import MOST_BYTES as MOST_OF_READINGS
from joulebook.web.problems import ProblemError

#: The one form that holds a file: a photo of an event.
_WITH_FILE = re.compile(r"/sites/[^/]+/setup/events/\d+/photos")


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyLimits:
    """How much content may come, and how slowly."""

    form_bytes: int = MOST_OF_A_FORM
    file_bytes: int = MOST_WITH_FILE
    readings_bytes: int = max(MOST_OF_READINGS.values())
    total_bytes: int = 64 * 1024 * 1024  # of all requests under way
    patience_s: float = 20.0  # besides the time that the content takes at `slowest_bytes_per_s`
    slowest_bytes_per_s: float = 8192.0


class Bodies:
    """The content of all requests under way."""

    def __init__(self, limits: BodyLimits) -> None:
        self._limits = limits
        self._held = 0

    @contextmanager
    def of(self, request: Request, receive: Receive) -> Iterator["Body"]:
        """Return how the content of a request is to be read, which counts until it is answered."""
        most = self._most(request.url.path)
        length = request.headers.get("content-length", "0")
        if length.isdecimal() and int(length[:20]) > most:
            raise _too_long(most)
        body = Body(self, receive, most)
        try:
            yield body
        finally:
            self._held -= body.size

    def _most(self, path: str) -> int:
        if path.endswith("/readings"):
            return self._limits.readings_bytes
        return self._limits.file_bytes if _WITH_FILE.fullmatch(path) else self._limits.form_bytes

    def hold(self, size: int) -> None:
        """Note content that has come; it is in memory until its request is answered."""
        self._held += size
        if self._held > self._limits.total_bytes:
            raise ProblemError(
                503,
                "busy",
                "more is being sent here at once than can be held",
                where="the content of all requests together",
                expected=f"at most {self._limits.total_bytes} bytes at once",
                next_step="send the same again in a moment",
                headers={"Retry-After": "5"},
            )

    def patience_s(self, size: int) -> float:
        """Return how long content may take of which so much has come. [s]"""
        return self._limits.patience_s + size / self._limits.slowest_bytes_per_s


class Body:
    """The content of one request, as it is read by whoever answers it."""

    def __init__(self, bodies: Bodies, receive: Receive, most: int) -> None:
        self._bodies = bodies
        self._receive = receive
        self._most = most
        self._began_s = asyncio.get_running_loop().time()
        self._ended = False
        self.size = 0

    async def __call__(self) -> Message:
        """Return the next part; once all has come, wait for the end of the connection.

        Raises
        ------
        ProblemError
            If it is too long, or comes too slowly.
        """
        if self._ended:
            return await self._receive()
        message = await self._part()
        if message["type"] == "http.request":
            size = len(message.get("body", b""))
            self.size += size
            self._bodies.hold(size)
            if self.size > self._most:
                raise _too_long(self._most)
            self._ended = not message.get("more_body", False)
        else:
            self._ended = True
        return message

    async def _part(self) -> Message:
        until_s = self._began_s + self._bodies.patience_s(self.size)
        try:
            async with asyncio.timeout_at(until_s):
                return await self._receive()
        except TimeoutError:
            raise ProblemError(
                408,
                "too-slow",
                f"the content did not come in time: {self.size} bytes of it are here",
                where="the request's content",
                expected="content that comes without long breaks",
                next_step="send it again, in smaller parts where the line is slow",
                headers={"Connection": "close"},
            ) from None


def _too_long(most: int) -> ProblemError:
    return ProblemError(
        413,
        "too-long",
        f"the content is longer than {most} bytes",
        where="the request's content",
        expected=f"at most {most} bytes",
        next_step="send it in parts; of a photo, a smaller one",
    )
