"""All homes as a table: one a row, numbers plain, so that another program can read them."""

import csv
import io
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import islice

from joulebook.storage.home_lines import HomePlace
from joulebook.summaries.homes.numbers import Measured
from joulebook.summaries.homes.peers import Beside
from joulebook.web.backing import Backing
from joulebook.web.homes.choice import Home, homes_at
from joulebook.web.region.formats import NBSP
from joulebook.web.words.home_sentences import sentence_of
from joulebook.web.words.home_texts import COLUMNS

#: Homes that are read at once.
_AT_ONCE = 500


def table_of(backing: Backing, places: Sequence[HomePlace], *, now_ms: int) -> Iterator[str]:
    """Yield a table of homes as CSV (RFC 4180), a part at a time, the head first."""
    yield _lines([tuple(COLUMNS)])
    rest = iter(places)
    while some := list(islice(rest, _AT_ONCE)):
        yield _lines([_row(home, now_ms) for home in homes_at(backing, some)])


def _lines(rows: Sequence[Sequence[object]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue()


def _row(home: Home, now_ms: int) -> tuple[object, ...]:
    nothing = Measured()
    numbers, peers = home.numbers, home.peers
    outlook = None if numbers is None else numbers.outlook
    first = sentence_of(home, home.reasons[0], now_ms=now_ms) if home.reasons else ""
    return (
        home.name,
        home.state,
        " ".join(dict.fromkeys(each.code for each in home.reasons)),
        first.replace(NBSP, " "),
        _time(home.heard_ms),
        *_measured(nothing if numbers is None else numbers.capacity),
        *_beside(None if peers is None else peers.capacity),
        *_measured(nothing if numbers is None else numbers.fade),
        *_beside(None if peers is None else peers.fade),
        "" if peers is None else _cell(peers.rate),
        "" if peers is None else _cell(peers.capacity.reason),
        *(
            ("", "", "", "")
            if outlook is None
            else (
                outlook.ends,
                outlook.floor_ratio,
                "true" if outlook.assumed else "false",
                _cell(outlook.chance),
            )
        ),
        _time(home.made_ms),
    )


def _measured(number: Measured) -> tuple[object, ...]:
    return tuple(map(_cell, (number.value, number.low, number.high, number.reason)))


def _beside(beside: Beside | None) -> tuple[object, ...]:
    if beside is None:
        return ("", "", "", "")
    return tuple(map(_cell, (beside.peers, beside.middle, beside.low, beside.high)))


def _cell(value: float | str | None) -> object:
    if value is None:
        return ""
    return round(value, 6) if isinstance(value, float) else value


def _time(at_ms: int | None) -> str:
    if at_ms is None:
        return ""
    return datetime.fromtimestamp(at_ms / 1000, tz=UTC).isoformat(timespec="seconds")
