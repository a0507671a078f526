"""Is the clock right, and does this machine know today's time zones."""

import ctypes
import zoneinfo
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from joulebook.cli.doctor.findings import Finding, look, unknown, well

# adjtimex(2): it returns this while the clock is not held by NTP or the like.
_TIME_ERROR = 5
_TIMEX_BYTES = 512  # more than struct timex has anywhere; asking with modes 0 changes nothing


def kernel_clock() -> int:
    """Return the state of the system's clock as adjtimex(2) gives it; -1 where it does not."""
    try:
        ask = ctypes.CDLL(None).adjtimex
    except (AttributeError, OSError):
        return -1
    return int(ask(ctypes.create_string_buffer(_TIMEX_BYTES)))


def check_clock(state: Callable[[], int] = kernel_clock) -> Iterator[Finding]:
    """Look whether something keeps the clock right."""
    found = state()
    if found < 0:
        yield unknown("clock", "this system does not tell whether its clock is kept right")
    elif found == _TIME_ERROR:
        yield look(
            "clock",
            "nothing keeps this machine's clock right",
            "switch on time synchronisation: timedatectl set-ntp true; in a container, the host's",
        )
    else:
        yield well("clock", "the clock is kept right over the network")


def check_zones(
    now_ms: int,
    places: Sequence[str] = zoneinfo.TZPATH,
    package: Callable[[], str] = lambda: version("tzdata"),
) -> Iterator[Finding]:
    """Look how old the time zones are that days are cut by."""
    release, where = _release(places, package)
    if release is None:
        yield unknown("time zones", f"those in {where} do not tell of which year they are")
        return
    sentence = f"release {release} of the time zone database, from {where}"
    this_year = datetime.fromtimestamp(now_ms / 1000, UTC).year
    if int(release[:4]) < this_year - 1:
        next_step = "update the system's tzdata, or the package tzdata: laws on clocks change"
        yield look("time zones", sentence, next_step)
    else:
        yield well("time zones", sentence)


def _release(places: Sequence[str], package: Callable[[], str]) -> tuple[str | None, str]:
    """Return the release that zoneinfo reads, and from where: the system's come first."""
    for place in places:
        folder = Path(place)
        if not (folder / "UTC").exists() and not (folder / "Etc").exists():
            continue
        try:
            with (folder / "tzdata.zi").open(encoding="ascii") as file:
                first = file.readline().split()
        except OSError:
            return None, place
        return (first[2], place) if first[:2] == ["#", "version"] else (None, place)
    return package(), "the package tzdata"
