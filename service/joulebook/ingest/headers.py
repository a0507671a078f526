"""The header of a CSV file of readings."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from joulebook.core.cells import MARKS
from joulebook.core.quantities import ValueKind
from joulebook.errors import UsageError
from joulebook.ingest.checks import Expected, Objection
from joulebook.ingest.units import Conversion, conversion
from joulebook.ingest.wording import shown

_COLUMN = re.compile(r"(?P<device>[^.\[\]]+)\.(?P<quantity>[^\[\]]+?)\s*(\[(?P<unit>[^\[\]]*)\])?")

#: Says what the readings of a device's quantity must be when they are sent in a unit, as a kind.
Expect = Callable[[str, str, str, ValueKind], Expected | Objection]


@dataclass(frozen=True, slots=True)
class TableColumn:
    """A column of readings: whose they are, of which kind, how numbers become canonical."""

    header: str
    place: int
    device: str
    quantity: str
    unit: str  # the canonical one
    conversion: Conversion
    kind: ValueKind = "number"


def read_header(
    fields: Sequence[str],
    *,
    expect: Expect,
    where: object,
    kinds: Sequence[ValueKind] | None = None,
) -> list[TableColumn]:
    """Return what the columns after ``time`` hold.

    Parameters
    ----------
    kinds : sequence of ValueKind, optional
        What the columns after ``time`` are, in a file that knows it. Else each header says it:
        ``[flag]``, ``[text]``, or a unit or none for numbers.

    Raises
    ------
    UsageError
        If the first column is not ``time``, or one of the others does not name a series in a
        unit that it can have, or two name the same.
    """
    if not fields or fields[0].strip() != "time":
        first = shown(fields[0]) if fields else "nothing"
        raise _wrong(
            f"the first column is {first}", where, "a comma-separated file, first column: time"
        )
    if len(fields) == 1:
        raise _wrong("there are no columns of readings", where, "device.quantity [unit] after time")
    columns = [
        _column(place, field.strip(), expect, where, kinds[place - 1] if kinds else None)
        for place, field in enumerate(fields[1:], start=1)
    ]
    seen: set[tuple[str, str]] = set()
    for column in columns:
        series = (column.device, column.quantity)
        if series in seen:
            raise _wrong(
                f"{column.device}.{column.quantity} comes twice",
                where,
                "one column for each series",
            )
        seen.add(series)
    return columns


def _column(
    place: int, header: str, expect: Expect, where: object, held: ValueKind | None
) -> TableColumn:
    match = _COLUMN.fullmatch(header)
    if match is None:
        raise _wrong(
            f"column {place + 1} is headed {shown(header)}",
            where,
            "device.quantity [unit], such as battery.voltage [V], or [flag] or [text]",
        )
    device, quantity, unit = match["device"], match["quantity"], (match["unit"] or "").strip()
    kind = MARKS.get(unit, "number")
    if held is not None and held != kind:
        if unit:
            what = f"column {place + 1}, {shown(header)}, holds {held}s"
            raise _wrong(what, where, f"a column of {kind}s under that header")
        kind = held
    if kind != "number":
        unit = ""
    expected = expect(device, quantity, unit, kind)
    if isinstance(expected, Objection):
        raise _wrong(f"column {place + 1}, {shown(header)}, {expected.detail}", where, "see above")
    found = conversion(unit, expected.unit)
    if found is None:
        raise ValueError(f"expect() let {unit!r} pass for {expected.unit!r}")
    return TableColumn(header, place, device, quantity, expected.unit, found, kind)


def _wrong(what: str, where: object, expected: str) -> UsageError:
    return UsageError(
        what,
        where=f"{where}, line 1",
        expected=expected,
        next_step="correct the header; nothing was stored",
    )
