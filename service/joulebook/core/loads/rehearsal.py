"""What a load rehearsal showed: the owner switches something large on, and watches."""

from dataclasses import dataclass
from typing import Literal

from joulebook.core.loads.start_detail import LEAST_CHANGE_A

#: A lowest cell below this under the load is close to the end of what the battery gives (our
#: choice; common practice stops between 2.5 and 2.9 V). [V]
CLOSE_CELL_V = 3.0

Name = Literal["nothing", "dark", "close", "helped", "unknown", "carried"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was seen of the largest start of a rehearsal.

    Attributes
    ----------
    went_dark : bool
        Whether the load was gone in a reading after it.
    change_a : float or None
        How much more the battery gave. [A]
    lowest_cell_v : float or None
        The lowest cell meanwhile. [V]
    room_w : float or None
        What the inverter's rating leaves above the peak. [W]
    """

    went_dark: bool
    change_a: float | None
    lowest_cell_v: float | None
    room_w: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """A name for programs, and a sentence for a person."""

    name: Name
    sentence: str


def verdict(seen: Seen | None) -> Verdict:
    """Return what a rehearsal tells; ``None`` where nothing was switched on in it.

    The worst is said first: a house that went dark, then what came close to a limit, then what
    sun or grid carried.
    """
    if seen is None:
        return Verdict("nothing", "No start of 200 W or more was read in this time.")
    if seen.went_dark:
        return Verdict(
            "dark",
            "The load was gone in a reading after the start: the inverter may have given up. Do "
            "not repeat it before you know why.",
        )
    close = _close(seen)
    if close:
        return Verdict("close", f"It went on, and came close: {' and '.join(close)}.")
    if seen.change_a is None:
        return Verdict("unknown", "It went on; whether the battery carried it was not read.")
    if seen.change_a < LEAST_CHANGE_A:
        return Verdict(
            "helped",
            "It went on, but sun or grid carried it. A rehearsal after dark tells of the battery.",
        )
    return Verdict("carried", "The battery carried it, as far as the readings show.")


def _close(seen: Seen) -> list[str]:
    found = []
    if seen.room_w is not None and seen.room_w < 0:
        found.append(f"the load went {-seen.room_w:.0f} W above what the inverter is rated for")
    if seen.lowest_cell_v is not None and seen.lowest_cell_v < CLOSE_CELL_V:
        found.append(f"the lowest cell fell to {seen.lowest_cell_v:.2f} V")
    return found
