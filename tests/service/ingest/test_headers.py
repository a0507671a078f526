import re
from collections.abc import Sequence

import pytest

from joulebook.core.quantities import ValueKind
from joulebook.errors import UsageError
from joulebook.ingest.checks import Expected, Objection
from joulebook.ingest.expectations import Expectations
from joulebook.ingest.headers import TableColumn, read_header


def expect(device: str, quantity: str, unit: str, kind: ValueKind) -> Expected | Objection:
    return Expectations().of(1, device, quantity, unit, kind)


def read(*fields: str, kinds: Sequence[ValueKind] | None = None) -> list[TableColumn]:
    return read_header(fields, expect=expect, where="week.csv", kinds=kinds)


def test_columns_name_series_and_units() -> None:
    columns = read(
        "time", "battery.voltage [mV]", "load.energy[kWh]", "kiln.heat", " kiln.a.b [count] "
    )
    assert [(one.place, one.device, one.quantity, one.unit) for one in columns] == [
        (1, "battery", "voltage", "V"),
        (2, "load", "energy", "Wh"),
        (3, "kiln", "heat", ""),
        (4, "kiln", "a.b", "count"),
    ]
    assert columns[0].conversion.apply(53_100.0) == 53.1


def test_flags_and_texts_are_marked_as_such() -> None:
    columns = read("time", "kiln.lid [flag]", "kiln.mode [text]", "kiln.heat")
    assert [(one.quantity, one.unit, one.kind) for one in columns] == [
        ("lid", "", "flag"),
        ("mode", "", "text"),
        ("heat", "", "number"),
    ]


def test_a_file_that_knows_its_kinds_needs_no_marks_and_may_not_deny_them() -> None:
    kinds: list[ValueKind] = ["flag", "text", "text"]
    columns = read("time", "kiln.lid", "kiln.mode", "kiln.note [text]", kinds=kinds)
    assert [one.kind for one in columns] == kinds
    with pytest.raises(UsageError, match=r"column 2, 'kiln.heat \[W\]', holds texts"):
        read("time", "kiln.heat [W]", kinds=["text"])
    with pytest.raises(UsageError, match="holds numbers"):
        read("time", "kiln.lid [flag]", kinds=["number"])


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ([], "the first column is nothing"),
        (["Time", "battery.voltage [V]"], "the first column is 'Time'"),
        (["time;battery.voltage [V]"], "first column: time"),
        (["time"], "no columns of readings"),
        (["time", ""], "column 2 is headed ''"),
        (["time", "voltage"], "column 2 is headed 'voltage'"),
        (["time", "battery.voltage [V"], "column 2 is headed"),
        (["time", "battery.voltage (V)"], "is no name of a quantity"),
        (["time", "battery.voltage"], "has no unit; expected one of V, mV"),
        (["time", "battery.voltage [A]"], "is in 'A'; expected one of V, mV"),
        (["time", "kiln.heat [warm]"], "is in 'warm'"),
        (["time", "battery.voltage [flag]"], "is a flag; expected a number"),
        (["time", "battery.voltage [text]"], "is a text; expected a number"),
        (["time", "kiln.lid [flag]", "kiln.lid [text]"], "kiln.lid comes twice"),
        (["time", "kiln.heat", "kiln.heat"], "kiln.heat comes twice"),
        (["time", "pv.power [W]", "pv.power [kW]"], "pv.power comes twice"),
    ],
)
def test_a_wrong_header_is_told_in_four_lines(fields: list[str], said: str) -> None:
    with pytest.raises(UsageError, match=re.escape(said)) as refused:
        read(*fields)
    lines = str(refused.value).splitlines()
    assert len(lines) == 4
    assert lines[1] == "  where:    week.csv, line 1"


def test_a_unit_that_was_let_pass_must_convert() -> None:
    with pytest.raises(ValueError, match="let 'A' pass for 'V'"):
        read_header(["time", "x.y [A]"], expect=lambda *_: Expected("V", "number"), where="")
