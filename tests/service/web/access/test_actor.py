from joulebook.storage.narrowing import Narrowing
from joulebook.web.access.actor import NOBODY, Actor


def test_what_each_may_do() -> None:
    owner = Actor(name="Ada", kind="person", everywhere="owner")
    viewer = Actor(name="Eve", kind="person", everywhere="viewer")
    local = Actor(name="Ben", kind="person", at={1: "owner", 2: "viewer"})
    each = (owner, viewer, local, NOBODY)
    assert [one.may_see(1) for one in each] == [True, True, True, False]
    assert [one.may_see(3) for one in each] == [True, True, False, False]
    assert [one.may_change(1) for one in each] == [True, False, True, False]
    assert [one.may_change(2) for one in each] == [True, False, False, False]
    assert [one.may_run_the_house() for one in each] == [True, False, False, False]


def test_whose_rows_each_may_read() -> None:
    assert Actor(name="Eve", kind="person", everywhere="viewer", person_id=4).narrowing() is None
    assert NOBODY.narrowing() == Narrowing()
    fin = Actor(
        name="Fin",
        kind="person",
        person_id=5,
        inside={7: "owner", 8: "viewer"},
        at={1: "owner", 2: "viewer"},
    )
    assert fin.narrowing() == Narrowing(
        sites=frozenset({1, 2}),
        organisations=frozenset({7, 8}),
        people=frozenset({5}),
        looked_after=frozenset({7}),
    )
