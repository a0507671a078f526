"""Whatever a bridge packs, the service reads: the same instants, quantities and values."""

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest.decode import Decoder
from joulebook.ingest.message import Message
from joulebook_bridge.pack import UNITS, pack_rows

RECEIVED_MS = 1_780_000_000_000
values = st.floats(allow_nan=False, allow_infinity=False, width=64).filter(
    lambda value: abs(value) < 1e15
)


@given(
    st.lists(st.sampled_from([*UNITS, ""]), min_size=1, max_size=5),
    st.lists(st.integers(1_500_000_000_000, RECEIVED_MS), min_size=1, max_size=6, unique=True),
    st.data(),
)
@settings(derandomize=True, deadline=None)
def test_rows_are_read_as_they_were_packed(
    units: list[str], instants: list[int], data: st.DataObject
) -> None:
    columns = [(f"thing_{place}", unit) for place, unit in enumerate(units)]
    rows = [
        (at_ms, data.draw(st.lists(values, min_size=len(units), max_size=len(units))))
        for at_ms in sorted(instants)
    ]
    message = Message(
        topic="joulebook/v1/studio/bench",
        payload=pack_rows(columns, rows),
        received_ms=RECEIVED_MS,
        source="shed",
        site="studio",
        site_id=1,
    )
    decoded = Decoder(lambda _site: 1).decode(message)
    assert decoded.refused == []
    read = {
        (at_ms, column.quantity): float(str(value))
        for layout, at_ms, row in decoded.rows
        for column, value in zip(layout.columns, row[-len(layout.columns) :], strict=True)
    }
    assert len(read) == len(rows) * len(columns)
    for at_ms, row in rows:
        for (name, _), value in zip(columns, row, strict=True):
            assert math.isclose(read[at_ms, name], value, rel_tol=1e-15, abs_tol=0)
