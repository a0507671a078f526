from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest.layouts import Layout, Layouts, RowGroups
from joulebook.storage.records import Column

A, B = Column("voltage", "V"), Column("current", "A")


def test_the_same_columns_have_the_same_layout() -> None:
    layouts = Layouts()
    first = layouts.get(1, "battery", (A,))
    assert layouts.get(1, "battery", (A,)) is first
    assert layouts.get(2, "battery", (A,)) is not first
    assert layouts.get(1, "battery", (A, B)) is not first


def test_made_up_names_do_not_fill_the_memory() -> None:
    layouts = Layouts()
    first = layouts.get(1, "battery", (A,))
    for number in range(Layouts.MOST):
        layouts.get(1, "battery", (Column(f"q{number}", ""),))
    assert layouts.get(1, "battery", (A,)) is not first


def test_rows_in_order_of_time_are_put_together() -> None:
    groups = RowGroups()
    one, two = Layout(1, "battery", (A,)), Layout(1, "battery", (B,))
    for at_ms in range(10):
        groups.add(one if at_ms % 2 else two, at_ms, (at_ms, 1.0))
    assert [len(rows) for _, rows in groups.groups] == [5, 5]


def test_a_row_of_the_past_opens_a_group_of_its_own() -> None:
    groups = RowGroups()
    one, two = Layout(1, "battery", (A,)), Layout(1, "battery", (A, B))
    other = Layout(1, "pv", (A,))
    groups.add(one, 5, (5, 1.0))
    groups.add(other, 5, (5, 1.0))
    groups.add(two, 5, (5, 2.0, 2.0))
    groups.add(one, 5, (5, 3.0))
    groups.add(other, 5, (5, 3.0))
    assert [layout for layout, _ in groups.groups] == [one, other, two, one]
    assert [len(rows) for _, rows in groups.groups] == [1, 2, 1, 1]


@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 5), st.sampled_from(["battery", "pv"])))
)
@settings(derandomize=True, deadline=None)
def test_the_last_value_stays_the_last(arrivals: list[tuple[int, int, str]]) -> None:
    layouts = Layouts()
    columns = [(A,), (B,), (A, B)]
    groups = RowGroups()
    expected: dict[tuple[str, int, str], float] = {}
    for number, (which, at_ms, device) in enumerate(arrivals):
        layout = layouts.get(1, device, columns[which])
        value = float(number)
        groups.add(layout, at_ms, (at_ms, *[value] * len(layout.columns)))
        for column in layout.columns:
            expected[device, at_ms, column.quantity] = value
    written: dict[tuple[str, int, str], float] = {}
    for layout, rows in groups.groups:
        for row in rows:
            for column, stored in zip(layout.columns, row[1:], strict=True):
                assert isinstance(row[0], int)
                assert isinstance(stored, float)
                written[layout.device, row[0], column.quantity] = stored
    assert written == expected
