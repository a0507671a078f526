from collections.abc import Callable, Mapping, Sequence

import pytest

from joulebook_bridge.modbus.faults import RefusedFault, SilentFault
from joulebook_bridge.sunspec.walk import BASES, MARKER, find_chain
from tests.helpers.sunspec_plants import chain, image


def reader(words: Mapping[int, int]) -> Callable[[int, int], Sequence[int]]:
    def read(address: int, count: int) -> list[int]:
        assert 1 <= count <= 125
        if any(place not in words for place in range(address, address + count)):
            raise RefusedFault(2)
        return [words[place] for place in range(address, address + count)]

    return read


def test_the_marker_and_where_to_look_for_it() -> None:
    # CV-20: SunSpec information model; the order is pysunspec2's.
    assert MARKER == (21365, 28243)
    assert BASES == (40000, 0, 50000)


def test_models_follow_each_other_to_the_end() -> None:
    # CV-21: by the lengths 66, 50 and 62; the next model is at this + 2 + its length.
    words = chain(image(103), image(802))
    found = find_chain(reader(words))
    assert found is not None
    assert found.base == 40000
    assert [(model.id, model.address) for model in found.models] == [
        (1, 40002),
        (103, 40070),
        (802, 40122),
    ]
    assert words[40186] == 0xFFFF
    assert list(found.models[1].words) == image(103)


@pytest.mark.parametrize("base", [0, 50000])
def test_a_chain_may_begin_elsewhere(base: int) -> None:
    found = find_chain(reader({40000: 0, 40001: 0} | chain(image(713), base=base)))
    assert found is not None
    assert [model.id for model in found.models] == [1, 713]
    assert found.base == base


def test_equipment_without_a_chain() -> None:
    assert find_chain(reader({100: 1})) is None


def test_a_chain_that_forgets_its_end_ends_where_registers_do() -> None:
    found = find_chain(reader(chain(image(713), end=())))
    assert found is not None
    assert [model.id for model in found.models] == [1, 713]


def test_a_long_model_is_read_in_pieces() -> None:
    # CV-22b: model 701 has 155 words.
    long = [701, 153, *range(153)]
    found = find_chain(reader(chain(long)))
    assert found is not None
    assert list(found.models[1].words) == long


def test_a_chain_that_runs_out_of_addresses_or_in_circles_ends() -> None:
    found = find_chain(reader(chain([9, 30000])))
    assert found is not None
    assert [model.id for model in found.models] == [1]
    endless = find_chain(
        lambda address, count: list(MARKER if address == 40000 else [7, 0])[:count]
    )
    assert endless is not None
    assert len(endless.models) == 200


def test_silence_and_being_busy_are_not_taken_for_nothing_there() -> None:
    def silent(_address: int, _count: int) -> Sequence[int]:
        raise SilentFault("no")

    def busy(_address: int, _count: int) -> Sequence[int]:
        raise RefusedFault(6)

    def busy_later(address: int, _count: int) -> Sequence[int]:
        if address == 40000:
            return MARKER
        raise RefusedFault(6)

    with pytest.raises(SilentFault):
        find_chain(silent)
    for read in (busy, busy_later):
        with pytest.raises(RefusedFault):
            find_chain(read)
