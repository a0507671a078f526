from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.home_lines import HomePlace, save_numbers, save_told
from joulebook.storage.narrowing import Narrowing, narrowed
from joulebook.web.homes import order as home_order
from joulebook.web.homes.order import HomeOrder, Order, state_of
from tests.helpers.databases import studio


@pytest.mark.parametrize(
    ("reasons", "state"),
    [
        (("silent", "unproven"), "now"),
        (("warranty-ends", "unproven"), "ahead"),
        (("unproven",), "lacking"),
        ((), "fine"),
    ],
)
def test_a_home_stands_as_its_gravest_reason_says(reasons: tuple[str, ...], state: str) -> None:
    assert state_of(HomePlace(1, "kiln", reasons, True)) == state
    assert state_of(HomePlace(1, "kiln", reasons, False)) == "new"


def test_some_homes_keep_their_order_and_are_counted_by_themselves() -> None:
    places = [HomePlace(n, f"home-{n}", ("silent",) if n < 3 else (), True) for n in (2, 1, 3)]
    every = Order(places, [state_of(each) for each in places])
    some = every.of({3, 2})
    assert [each.site_id for each in some.places] == [2, 3]
    assert dict(some.counts) == {"now": 1, "fine": 1, "silent": 1}
    assert dict(every.counts) == {"now": 2, "fine": 1, "silent": 2}


def test_the_order_is_read_anew_where_a_line_changed_or_a_minute_went_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = studio(tmp_path)
    read: list[int] = []

    def places(connection: object) -> list[HomePlace]:
        assert connection is not None
        read.append(len(read))
        return [HomePlace(site.id, "studio", (), True)]

    monkeypatch.setattr(home_order, "home_places", places)
    kept = HomeOrder()
    with closing(database.connect()) as connection:
        first = kept.order(connection, now_ms=0)
        assert kept.order(connection, now_ms=59_999) is first
        kept.order(connection, now_ms=60_000)
        assert len(read) == 2
        save_numbers(connection, [(site.id, b"", "")], now_ms=1)
        kept.order(connection, now_ms=60_001)
        save_told(connection, [(site.id, 1, (), b"", "")], 1)
        kept.order(connection, now_ms=60_002)
        assert len(read) == 4
        kept.order(connection, now_ms=1)  # a clock that was set back
        assert len(read) == 5
    database.close()


def test_on_a_server_those_who_see_different_homes_have_an_order_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = studio(tmp_path)
    monkeypatch.setattr(home_order, "on_server", lambda _connection: True)
    monkeypatch.setattr(home_order, "_MOST_KEPT", 2)
    kept = HomeOrder()
    with closing(database.connect()) as connection:

        def asked_by(number: int, person: int = 1) -> Order:
            with narrowed(Narrowing(frozenset({number}), people=frozenset({person}))):
                return kept.order(connection, now_ms=0)

        first = asked_by(1)
        assert asked_by(1, person=2) is first
        assert asked_by(2) is not first
        assert asked_by(1) is first
        assert [each.site_id for each in asked_by(3).places] == [site.id]
        assert asked_by(1) is not first  # it made room for the third
    database.close()
