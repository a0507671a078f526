"""The order of all homes, kept at hand: it is asked more often than it changes."""

from collections import Counter, OrderedDict
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from threading import Lock

from joulebook.storage.connections import on_server
from joulebook.storage.database import Connection
from joulebook.storage.home_lines import HomePlace, home_places, lines_stamp
from joulebook.storage.narrowing import Narrowing, narrowing
from joulebook.summaries.homes.reasons import AHEAD

#: How a home can stand, beside the codes of its reasons.
STATES = ("now", "ahead", "lacking", "fine", "new")
#: It is read anew after this, whatever the marks say: two writers at once may share one. [ms]
_LASTS_MS = 60_000
#: For so many who may see different homes.
_MOST_KEPT = 16


def state_of(place: HomePlace) -> str:
    """Return how a home stands."""
    if not place.told_yet:
        return "new"
    if not place.reasons:
        return "fine"
    return AHEAD.get(place.reasons[0], "now")


@dataclass(frozen=True)
class Order:
    """Homes in their order, those that need somebody most first, and how each stands."""

    places: Sequence[HomePlace]
    states: Sequence[str]

    def of(self, site_ids: Container[int]) -> "Order":
        """Return those of some sites, in the same order."""
        both = zip(self.places, self.states, strict=True)
        some = [(place, state) for place, state in both if place.site_id in site_ids]
        return Order([place for place, _ in some], [state for _, state in some])

    @cached_property
    def counts(self) -> Mapping[str, int]:
        """How many stand how, and have each reason."""
        found = Counter(self.states)
        # Of ten thousand homes some dozens have different reasons.
        for reasons, homes in Counter(place.reasons for place in self.places).items():
            found.update(dict.fromkeys(reasons, homes))
        return found


class HomeOrder:
    """Keeps the order until a line, or which homes there are, changes."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._kept: OrderedDict[Narrowing | None, tuple[object, int, Order]] = OrderedDict()

    def order(self, connection: Connection, *, now_ms: int) -> Order:
        """Return the order of all homes. Whoever asks is to be shown those that he may see.

        On a server that keeps others' homes from him, they are not among them at all.
        """
        now = narrowing() if on_server(connection) else None
        whose = None if now is None else now.of_sites()
        stamp = lines_stamp(connection)
        with self._lock:
            kept = self._kept.get(whose)
            if kept is not None and kept[0] == stamp and 0 <= now_ms - kept[1] < _LASTS_MS:
                return kept[2]
        places = home_places(connection)
        found = Order(places, [state_of(place) for place in places])
        with self._lock:
            self._kept[whose] = (stamp, now_ms, found)
            self._kept.move_to_end(whose)
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        return found
