"""Where a page forgets whom it may show or change, a server still keeps other tenants' people.

As in `test_second_wall`: in a file the same requests show and change what they should not.
"""

from collections.abc import Callable
from contextlib import closing

import pytest
from fastapi.testclient import TestClient

from joulebook.storage.people import Person, add_person
from joulebook.web.access.reach import Reach
from tests.helpers.visitors import Door


@pytest.fixture
def door(opened: Callable[..., Door]) -> Door:
    return opened(tenants=True)


def is_in(session: TestClient) -> bool:
    return session.get("/people/me").status_code == 200


def test_a_reach_that_ends_nowhere(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    sites = door.studio.id, door.barn.id
    with closing(door.database.connect()) as connection:
        ivo = add_person(connection, "Ivo", now_ms=1, at=dict.fromkeys(sites, "viewer"))
        jo = add_person(connection, "Jo", now_ms=1, at={door.barn.id: "viewer"})
    sessions = [door.signed_in(name).client for name in ("Ivo", "Jo")]
    fin = door.signed_in("Fin")

    def answers(person: Person) -> list[int]:
        there = f"/people/{person.id}"
        return [fin.post(f"{there}/{what}").status_code for what in ("link", "sign-out")]

    # Of both tenants, so that his account is neither one's; and of the other one.
    assert (answers(ivo), answers(jo)) == ([403, 403], [404, 404])
    monkeypatch.setattr(Reach, "touches", lambda *_: True)
    monkeypatch.setattr(Reach, "holds", lambda *_: True)
    page = fin.client.get("/people").text
    assert "Ivo" in page
    found = [name in page for name in ("Hana", "Jo")]
    changed = answers(ivo), answers(jo)
    if door.database.server is None:
        assert (found, changed) == ([True, True], ([200, 303], [200, 303]))
        assert not any(map(is_in, sessions))
    else:
        # A link that is refused by the server is a fault of ours, and nothing is changed.
        assert (found, changed) == ([False, False], ([500, 303], [404, 404]))
        assert all(map(is_in, sessions))
