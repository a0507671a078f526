import threading

import pytest

from joulebook.storage.narrowing import Narrowing, may_read, narrow, narrowed, narrowing

pytestmark = pytest.mark.on_a_file
STUDIO = Narrowing(frozenset({1}))


def test_everything_may_be_read_unless_it_is_said() -> None:
    assert narrowing() is None
    assert may_read(1)
    with narrowed(STUDIO):
        assert narrowing() == STUDIO
        assert (may_read(1), may_read(2)) == (True, False)
        with narrowed(None):
            assert may_read(2)
        assert not may_read(2)
    assert may_read(2)


def test_it_ends_with_its_block_also_where_that_fails() -> None:
    with pytest.raises(ArithmeticError), narrowed(STUDIO):
        raise ArithmeticError
    assert narrowing() is None


def test_a_thread_of_our_own_is_not_narrowed() -> None:
    found: list[Narrowing | None] = []
    with narrowed(None):
        narrow(STUDIO)
        worker = threading.Thread(target=lambda: found.append(narrowing()))
        worker.start()
        worker.join()
        assert narrowing() == STUDIO
    assert found == [None]


def test_what_is_seen_of_sites_is_the_same_for_two_who_see_the_same_ones() -> None:
    sites, organisations = frozenset({1, 2}), frozenset({3})
    ada = Narrowing(sites, organisations, people=frozenset({4}), looked_after=organisations)
    ben = Narrowing(sites, organisations, people=frozenset({5}))
    assert ada != ben
    assert ada.of_sites() == ben.of_sites() == Narrowing(sites, organisations)
