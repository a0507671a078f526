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
