"""What a run measured, as the constants that machines are calculated from."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from joulebook.bench.plant import STEP_MS
from joulebook.bench.site import PLACES, SERIES
from joulebook.errors import UsageError

#: What a home is taken to report: quantities, devices (a message of each), and how often. [s]
QUANTITIES, DEVICES, EVERY_S = SERIES, len(PLACES), STEP_MS / 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """Of one home, one message, one reading.

    Attributes
    ----------
    homes : int
        At so many homes they were measured.
    decode_s, store_s : float
        Of a message: what a copy works, and what it waits for the server and its disk. [s]
    log_bytes, hot_bytes, sealed_bytes : float
        Of a reading: in the server's log, as a hot row, sealed with all results.
    compute_s, record_s, seal_s : float
        A processor's time for a day's results; for the record's analysis, by the days it has; all
        that sealing a day takes. [s]
    back_s : float
        A processor's time for a look back at a home. [s]
    vacuum_s : float
        For a hot row that was sealed. [s]
    order_s, list_s, watch_s, page_s : float
        For all those homes: to compare them, to read them from the catalogue, to look at their
        newest readings, to show their page (p95). [s]
    exponents : mapping of float
        How each cost grows, by its key; never below 1 where homes are counted on.
    """

    homes: int
    decode_s: float
    store_s: float
    log_bytes: float
    hot_bytes: float
    sealed_bytes: float
    compute_s: float
    record_s: float
    seal_s: float
    back_s: float
    vacuum_s: float
    order_s: float
    list_s: float
    watch_s: float
    page_s: float
    exponents: Mapping[str, float]

    def beyond(self, key: str, homes: float) -> float:
        """Return how many times dearer a home is than where it was measured.

        A cost whose exponent is 1 or less is taken to grow as homes do.
        """
        return float(max(homes / self.homes, 1.0) ** (max(self.exponents[key], 1.0) - 1.0))


def constants_of(document: Mapping[str, Any]) -> Constants:
    """Return the constants of a run: medians of its rounds with the most homes.

    Raises
    ------
    UsageError
        If the run was a quick one, or measured files: a calculation for many homes needs a server.
    """
    if document["conditions"]["quick"]:
        raise _useless("a quick run's figures mean nothing")
    homes = max(each["homes"] for each in document["rounds"])
    most = [each for each in document["rounds"] if each["homes"] == homes]
    if any(each["log"] is None for each in most):
        raise _useless("this run measured a file, and many homes live on a server")
    home = document["home"]

    def middle(of: str) -> float:
        return float(np.median([each["of"][of] for each in most]))

    # A row holds the readings of a device at an instant, which came as one message.
    return Constants(
        homes=homes,
        decode_s=float(np.median([each["own_s"] / each["messages"] for each in most])),
        store_s=float(
            np.median([(each["of"]["ingest"] - each["own_s"]) / each["messages"] for each in most])
        ),
        log_bytes=float(np.median([each["log"] / each["readings"] for each in most])),
        hot_bytes=home["hot_bytes"],
        sealed_bytes=home["sealed_bytes"],
        compute_s=home["day"]["own_s"],
        record_s=home["record"]["own_s"],
        seal_s=home["seal"]["took_s"],
        back_s=home["back"]["own_s"],
        vacuum_s=_vacuum_s(document["rounds"], homes),
        order_s=middle("order"),
        list_s=middle("list"),
        watch_s=middle("watch"),
        page_s=float(np.median([each["p95_ms"]["homes"] for each in most])) / 1000,
        exponents={each["key"]: each["exponent"]["exponent"] for each in document["costs"]},
    )


def _vacuum_s(rounds: Sequence[Mapping[str, Any]], homes: int) -> float:
    """Return what a row takes. Looking at every table takes its time with no row at all. [s]"""
    fewest = min(each["homes"] for each in rounds)
    (rows, took_s), (least_rows, least_s) = (
        np.median([(each["messages"], each["of"]["vacuum"]) for each in some], axis=0)
        for some in (
            [each for each in rounds if each["homes"] == homes],
            [each for each in rounds if each["homes"] == fewest],
        )
    )
    return max(float((took_s - least_s) / (rows - least_rows)), 0.0)


def _useless(what: str) -> UsageError:
    return UsageError(
        what,
        where="joulebook bench --fleet --write",
        expected="a whole run with --database, or the document that one printed with --json",
        next_step="measure with --database and without --quick",
    )
