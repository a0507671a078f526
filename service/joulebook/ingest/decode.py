"""From a message to rows for storage, what is refused, and the verdict. No input or output.

One bad record costs that record; what is wrong with the pack as a whole costs the pack.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from joulebook.ingest.checks import Objection, time_objection
from joulebook.ingest.expectations import Expectations
from joulebook.ingest.layouts import Layout, Layouts, Row
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.outcomes import (
    Decoded,
    fault_of,
    none_usable,
    parts_of,
    refused_part,
    turned_away,
)
from joulebook.ingest.quick import Plan, Shape, read_quickly
from joulebook.ingest.senml import Record, resolve
from joulebook.ingest.senml_fields import PackError
from joulebook.ingest.topics import PREFIX, parse_topic
from joulebook.ingest.units import conversion
from joulebook.ingest.wording import shown
from joulebook.storage.records import Column, Series, Value

#: Topics that a decoder knows its way with; more of them cost ten times as much each. Some 3 kB
#: of memory for each that is there, and a site has a thousand devices at most.
MOST_TOPICS = 65_536
#: Shapes of packs beside the last one of each topic: a sender may make these up.
_MOST_SHAPES = 4096

# The unit of a sum, W times s, is the unit of an energy.
_SUM_UNITS = {"W": "J", "A": "C", "VA": "VAs", "var": "vars"}


class Target:
    """Where a topic's readings go. Made once for each topic: it is a key, compared by identity."""

    __slots__ = ("device", "last_plan", "site_id")

    def __init__(self, site_id: int, device: str) -> None:
        self.site_id = site_id
        self.device = device
        self.last_plan: Plan | None = None


class Decoder:
    """Decodes messages, and remembers the shapes that come again and again.

    Parameters
    ----------
    site_id_of : callable
        The id of a site by its name, ``None`` where there is none. Asked for messages that are
        not bound to a site.
    mappings : Mappings, optional
        What other bridges publish, on topics of their own.
    """

    def __init__(
        self, site_id_of: Callable[[str], int | None], mappings: Mappings | None = None
    ) -> None:
        self._site_id_of = site_id_of
        self._mappings = mappings or Mappings()
        self._expectations = Expectations()
        self._layouts = Layouts()
        self._closed: dict[int, frozenset[str]] = {}
        self._targets: dict[tuple[str, str | None, int | None], Target] = {}
        self._plans: dict[tuple[Target, Shape], Plan | None] = {}

    def pin(self, series: Series) -> None:
        """Hold a series to the unit and kind that storage has for it."""
        self._expectations.pin(
            series.site_id, series.device, series.quantity, series.unit, series.kind
        )
        self._forget_plans()

    def close_device(self, site_id: int, device: str, quantities: frozenset[str]) -> None:
        """Take no quantities of a device but these: storage has no place for more."""
        self._expectations.close_device(site_id, device, quantities)
        self._forget_plans()

    def close_site(self, site_id: int, devices: frozenset[str]) -> None:
        """Take no devices of a site but these: storage has no place for more."""
        self._closed[site_id] = devices
        self._forget_plans()

    def _forget_plans(self) -> None:
        self._plans.clear()
        self._targets.clear()

    def decode(self, message: Message) -> Decoded:
        """Return what a message holds.

        Raises
        ------
        StorageUnavailableError
            If ``site_id_of`` does.
        """
        key = (message.topic, message.site, message.site_id)
        target = self._targets.get(key)
        if target is None:
            mapped = self._decode_mapped(message)
            if mapped is not None:
                return mapped
            found = self._find(message)
            if isinstance(found, Decoded):
                return found
            if len(self._targets) >= MOST_TOPICS:
                self._targets.clear()
            target = self._targets[key] = found
        pack = read_quickly(message.payload)
        if pack is not None:
            plan = target.last_plan
            if plan is None or not pack.fits(plan):
                plan = target.last_plan = self._plan(target, pack.shape())
            if plan is not None:
                at_ms = pack.at_ms(plan, message.received_ms)
                if at_ms is not None and time_objection(at_ms, message.received_ms) is None:
                    row = plan.row(at_ms, pack.values())
                    if row is not None:
                        return Decoded([(plan.layout, at_ms, row)], [], Verdict.STORED)
        return self._decode_slowly(target, message)

    def _decode_mapped(self, message: Message) -> Decoded | None:
        """Return what a message on another bridge's topic holds, ``None`` where none is known."""
        if message.topic.startswith(PREFIX):
            return None
        translated = self._mappings.translate(message)
        if translated is None:
            return None
        parts = [self.decode(made) for made in translated.messages]
        refused = [
            refused_part(message, message.site_id, fault.reason, fault.detail, message.payload)
            for fault in translated.objections
        ]
        refused += [replace(each, topic=message.topic) for part in parts for each in part.refused]
        verdicts = {part.verdict for part in parts}
        if Verdict.STORED not in verdicts and (refused or verdicts):
            verdict = verdicts.pop() if len(verdicts) == 1 else Verdict.QUARANTINED
        else:
            verdict = Verdict.STORED  # also where the payload says that nothing was measured
        return Decoded([row for part in parts for row in part.rows], refused, verdict)

    def _find(self, message: Message) -> Target | Decoded:
        """Return where a message belongs, or how it is turned away."""
        try:
            place = parse_topic(message.topic)
        except ValueError as error:
            return turned_away(message, Verdict.TOPIC_INVALID, "topic-invalid", str(error))
        if message.site is not None:
            if place.site != message.site or message.site_id is None:
                return turned_away(
                    message,
                    Verdict.NOT_AUTHORISED,
                    "site-not-allowed",
                    f"{shown(message.source)} may write to {shown(message.site)}, "
                    f"and the topic names {shown(place.site)}",
                )
            return self._target(message, message.site_id, place.device)
        site_id = self._site_id_of(place.site)
        if site_id is None:
            return turned_away(
                message,
                Verdict.QUARANTINED,
                "site-unknown",
                f"there is no site {shown(place.site)}; expected one that was added here",
            )
        return self._target(message, site_id, place.device)

    def _target(self, message: Message, site_id: int, device: str) -> Target | Decoded:
        devices = self._closed.get(site_id)
        if devices is not None and device not in devices:
            return turned_away(
                message,
                Verdict.QUARANTINED,
                "devices-too-many",
                f"{device} would be device {len(devices) + 1} of the site: too many",
                site_id,
            )
        return Target(site_id, device)

    def _plan(self, target: Target, shape: Shape) -> Plan | None:
        if not shape.is_usual():
            return None
        try:
            return self._plans[target, shape]
        except KeyError:
            if len(self._plans) >= _MOST_SHAPES:
                self._plans.clear()
            plan = self._plans[target, shape] = self._make_plan(target, shape)
            return plan

    def _make_plan(self, target: Target, shape: Shape) -> Plan | None:
        """Return the plan of a shape, ``None`` where a name or a unit needs a closer look."""
        columns: list[Column] = []
        conversions = []
        limits = []
        for place, (name, unit) in enumerate(shape.names_and_units()):
            expected = self._expectations.of(target.site_id, target.device, name, unit, "number")
            if isinstance(expected, Objection):
                return None
            columns.append(Column(name, expected.unit))
            found = conversion(unit, expected.unit)
            changed = found is not None and not found.changes_nothing
            if found is not None and changed:
                conversions.append((place, found))
            if changed or expected.is_bounded:  # a conversion can overflow
                limits.append((place, expected.low, expected.high))
        if len({column.quantity for column in columns}) < len(columns):
            return None
        layout = self._layouts.get(target.site_id, target.device, tuple(columns))
        return Plan(shape, layout, conversions, limits)

    def _decode_slowly(self, target: Target, message: Message) -> Decoded:
        try:
            pack = resolve(message.payload, message.received_ms)
        except PackError as error:
            return turned_away(
                message, Verdict.QUARANTINED, error.reason, error.detail, target.site_id
            )
        faults = list(pack.faults)
        good: list[tuple[int, Column, Value]] = []
        for record in pack.records:
            for part in _parts(record):
                read = self._read(target, part, message.received_ms)
                if isinstance(read, Objection):
                    faults.append(fault_of(part, read))
                else:
                    good.append(read)
        if not good:
            return none_usable(message, target.site_id, faults)
        return Decoded(
            self._rows(target, good), parts_of(message, target.site_id, faults), Verdict.STORED
        )

    def _read(
        self, target: Target, record: Record, received_ms: int
    ) -> tuple[int, Column, Value] | Objection:
        """Return the reading that a record of one value holds, or why it holds none."""
        late = time_objection(record.at_ms, received_ms)
        if late is not None:
            return late
        value, unit = record.value, record.unit
        if isinstance(value, bytes):
            return Objection("kind-not-stored", "is data (vd); expected a number, a text or a flag")
        if value is None:
            if unit not in _SUM_UNITS:
                return Objection(
                    "sum-not-used",
                    f"is a sum of {shown(unit)} over time; expected one of {', '.join(_SUM_UNITS)}",
                )
            value, unit = record.sum, _SUM_UNITS[unit]
        expected = self._expectations.of(
            target.site_id, target.device, record.name, unit, record.kind
        )
        if isinstance(expected, Objection):
            return expected
        if isinstance(value, float):
            found = conversion(unit, expected.unit)
            value = value if found is None else found.apply(value)
            outside = expected.objection(value)
            if outside is not None:
                return outside
        return record.at_ms, Column(record.name, expected.unit, expected.kind), value

    def _rows(
        self, target: Target, good: list[tuple[int, Column, Value]]
    ) -> list[tuple[Layout, int, Row]]:
        """Gather readings by instant; a quantity that comes twice at one begins another row."""
        rows: list[tuple[Layout, int, Row]] = []
        for at_ms, cells in _cells_by_instant(good):
            columns = tuple(column for column, _ in cells.values())
            layout = self._layouts.get(target.site_id, target.device, columns)
            rows.append((layout, at_ms, (at_ms, *(value for _, value in cells.values()))))
        return rows


def _parts(record: Record) -> Iterator[Record]:
    """Yield the value of a record and its sum apart, for they cannot be one reading."""
    if record.value is None or record.sum is None:
        yield record
    else:
        yield replace(record, sum=None)
        yield replace(record, value=None)


def _cells_by_instant(
    good: list[tuple[int, Column, Value]],
) -> Iterator[tuple[int, dict[str, tuple[Column, Value]]]]:
    at_ms, cells = good[0][0], dict[str, tuple[Column, Value]]()
    for instant, column, value in good:
        if instant != at_ms or column.quantity in cells:
            yield at_ms, cells
            at_ms, cells = instant, {}
        cells[column.quantity] = (column, value)
    yield at_ms, cells
