import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook_bridge.modbus.planning import MOST_REGISTERS, Registers, plan_requests


def plan(*spans: tuple[int, int], skip: int = 0) -> list[tuple[int, int]]:
    requests = plan_requests((Registers(3, *span) for span in spans), skip=skip)
    return [(request.address, request.count) for request in requests]


def test_neighbours_are_read_at_once() -> None:
    assert plan((102, 2), (100, 2)) == [(100, 4)]


def test_a_gap_is_skipped_only_as_far_as_the_equipment_allows() -> None:
    assert plan((100, 1), (105, 1)) == [(100, 1), (105, 1)]
    assert plan((100, 1), (105, 1), skip=4) == [(100, 6)]


def test_a_request_has_at_most_125_registers() -> None:
    # CV-06: Modbus Application Protocol V1.1b3, §6.3 and §6.4.
    assert MOST_REGISTERS == 125
    assert plan((0, 125), (125, 1)) == [(0, 125), (125, 1)]
    assert plan((0, 124), (124, 1)) == [(0, 125)]


def test_a_long_model_takes_two_requests() -> None:
    # CV-22b: model 701 is 155 words long.
    spans = [(address, 1) for address in range(155)]
    assert plan(*spans) == [(0, 125), (125, 30)]


def test_a_number_is_never_split() -> None:
    assert plan((0, 124), (124, 2)) == [(0, 124), (124, 2)]


def test_functions_are_read_apart_and_twins_once() -> None:
    spans = [Registers(3, 0, 1), Registers(4, 1, 1), Registers(3, 0, 1)]
    assert plan_requests(spans, skip=9) == [Registers(3, 0, 1), Registers(4, 1, 1)]


def test_what_lies_within_another_is_not_read_again() -> None:
    assert plan((0, 10), (2, 2)) == [(0, 10)]


@given(
    st.lists(st.tuples(st.sampled_from([3, 4]), st.integers(0, 400), st.integers(1, 4))),
    st.integers(0, 125),
)
@settings(derandomize=True, deadline=None)
def test_every_number_is_whole_in_one_request(spans: list[tuple[int, int, int]], skip: int) -> None:
    wanted = [Registers(*span) for span in spans]
    requests = plan_requests(wanted, skip=skip)
    for span in wanted:
        assert any(
            request.function == span.function
            and request.address <= span.address
            and span.end <= request.end
            for request in requests
        )
    assert all(request.count <= MOST_REGISTERS for request in requests)


def test_registers_know_their_end() -> None:
    assert Registers(3, 96, 4).end == 100
    with pytest.raises(AttributeError):
        Registers(3, 0, 1).count = 2  # type: ignore[misc]
