"""What the analysis of a whole record is given: readings, and what the owner entered."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from joulebook.core.history import Floats, PackHistory, PowerHistory
from joulebook.core.outlook.forecast import WarrantyTerms
from joulebook.core.spans import Span

#: What an event of a kind does to the record. Whatever happens, no window mixes before and after.
MOVES_SENSOR = frozenset({"wiring", "sensor", "firmware", "battery"})
NEW_BATTERY = frozenset({"battery"})


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordEvent:
    """Something that the owner did: no number mixes what came before with what came after.

    Attributes
    ----------
    at_ms : int
        [ms, UTC epoch]
    kind : str
        Such as ``firmware``; one of `MOVES_SENSOR` lets the current sensor's zero step there,
        and ``battery`` begins a new battery's record.
    title : str
        In the owner's words.
    """

    at_ms: int
    kind: str
    title: str


@dataclass(frozen=True, slots=True)
class NamedSpan:
    """A window and what it is called, such as ``2026-Q3``."""

    name: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordInputs:
    """A site's whole record.

    Attributes
    ----------
    history : PackHistory
        Two readings at least.
    powers : PowerHistory or None
        On the same time axis; ``None`` where nothing but the battery is measured.
    charge_counter_wh, discharge_counter_wh : float64 (n,) or None
        The battery's own energy counters, NaN where missing. [Wh]
    soc_ratio, soh_ratio : float64 (n,) or None
        What the battery claims; never evidence, only set beside ours.
    spread_v : float64 (n,) or None
        Highest less lowest cell. [V]
    quarters : sequence of NamedSpan
        Calendar quarters of the site's zone that touch the record.
    events : sequence of RecordEvent
        In order.
    terms : WarrantyTerms or None
        Where the owner entered them.
    installed_ms : int or None
        When the battery was put to use. [ms, UTC epoch]
    own_draw_from_ms : int or None
        What the inverter takes is told of no earlier readings. [ms, UTC epoch]
    """

    history: PackHistory
    powers: PowerHistory | None = None
    charge_counter_wh: Floats | None = None
    discharge_counter_wh: Floats | None = None
    soc_ratio: Floats | None = None
    soh_ratio: Floats | None = None
    spread_v: Floats | None = None
    quarters: Sequence[NamedSpan] = ()
    events: Sequence[RecordEvent] = field(default=())
    terms: WarrantyTerms | None = None
    installed_ms: int | None = None
    own_draw_from_ms: int | None = None

    def __post_init__(self) -> None:
        if self.history.at_ms.size < 2:
            raise ValueError("a record has two readings at least")

    @property
    def span(self) -> Span:
        """From the first reading to the end of what the last one stands for."""
        at_ms, step_ms = self.history.at_ms, round(self.history.step_s * 1000)
        return Span(int(at_ms[0]), int(at_ms[-1]) + step_ms)

    def until(self, end_ms: int) -> "RecordInputs":
        """Return the record as it was at an instant: what an owner would have been told then."""
        size = int(np.searchsorted(self.history.at_ms, end_ms))

        def part(values: Floats | None) -> Floats | None:
            return None if values is None else values[:size]

        history, powers = self.history, self.powers
        return replace(
            self,
            history=replace(
                history,
                at_ms=history.at_ms[:size],
                voltage_v=history.voltage_v[:size],
                current_a=history.current_a[:size],
                temperature_c=history.temperature_c[:size],
            ),
            powers=None
            if powers is None
            else replace(
                powers,
                pv_w=powers.pv_w[:size],
                grid_w=powers.grid_w[:size],
                load_w=powers.load_w[:size],
            ),
            charge_counter_wh=part(self.charge_counter_wh),
            discharge_counter_wh=part(self.discharge_counter_wh),
            soc_ratio=part(self.soc_ratio),
            soh_ratio=part(self.soh_ratio),
            spread_v=part(self.spread_v),
            quarters=[each for each in self.quarters if each.span.start_ms < end_ms],
            events=[each for each in self.events if each.at_ms < end_ms],
        )


def unmixed(windows: Sequence[NamedSpan], events: Sequence[RecordEvent]) -> list[NamedSpan]:
    """Cut windows where something happened, so that none mixes before and after."""
    cut: list[NamedSpan] = []
    for window in windows:
        inside = [
            each.at_ms for each in events if window.span.start_ms < each.at_ms < window.span.end_ms
        ]
        edges = [window.span.start_ms, *dict.fromkeys(inside), window.span.end_ms]
        cut += [
            NamedSpan(window.name if not inside else f"{window.name} part {place}", Span(*ends))
            for place, ends in enumerate(pairwise(edges), start=1)
        ]
    return cut
