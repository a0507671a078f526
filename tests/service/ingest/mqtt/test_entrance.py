"""Places for connections: in all, of an address, of a token, and how many come in a second."""

from dataclasses import dataclass

from joulebook.ingest.mqtt.entrance import Entrance
from joulebook.ingest.mqtt.limits import ListenerLimits


@dataclass(eq=False)
class Guest:
    address: str = "192.0.2.1"
    gone: bool = False

    def make_way(self) -> None:
        self.gone = True


def entered(entrance: Entrance, *guests: Guest, now_s: float = 0.0) -> list[str]:
    return [entrance.enter(guest, now_s) for guest in guests]


def test_an_address_has_so_many_places_and_a_place_becomes_free() -> None:
    entrance = Entrance(ListenerLimits(address_connections=2))
    first, second, third = Guest(), Guest(), Guest()
    assert entered(entrance, first, second, third) == [
        "",
        "",
        "too many connections of its address",
    ]
    assert entered(entrance, Guest("192.0.2.2")) == [""]
    entrance.leave(first)
    entrance.leave(first)  # once is enough
    assert entered(entrance, third) == [""]
    assert len(entrance) == 3


def test_neighbours_in_ipv6_share_their_places() -> None:
    entrance = Entrance(ListenerLimits(address_connections=1))
    assert entered(
        entrance, Guest("2001:db8::1"), Guest("2001:db8::2"), Guest("2001:db8:1::1")
    ) == [
        "",
        "too many connections of its address",
        "",
    ]


def test_an_address_may_come_so_often() -> None:
    entrance = Entrance(ListenerLimits(address_connects_per_s=2.0, address_connects_at_once=3.0))
    for _ in range(4):  # the last one overdraws
        guest = Guest()
        assert entrance.enter(guest, 0.0) == ""
        entrance.leave(guest)
    assert entered(entrance, Guest(), Guest()) == ["too many new connections of its address"] * 2
    assert entered(entrance, Guest(), now_s=0.5) == [""]  # one has come back: trying costs nothing


def test_a_failed_login_costs_as_much_as_ten() -> None:
    entrance = Entrance(ListenerLimits(address_connects_per_s=1.0, address_connects_at_once=5.0))
    guest, local = Guest(), Guest("127.0.0.1")
    assert entered(entrance, guest, local) == ["", ""]
    entrance.note_failure(guest, 0.0)  # 5 - 1 - 10 = -6
    assert entered(entrance, Guest(), now_s=5.5) == ["too many new connections of its address"]
    assert entered(entrance, Guest(), now_s=6.0) == [""]
    entrance.note_failure(local, 6.0)
    assert entered(entrance, Guest("127.0.0.1"), now_s=6.0) == [""]


def test_this_machine_is_held_to_the_total_only() -> None:
    entrance = Entrance(ListenerLimits(address_connections=1, connections=3))
    guests = [Guest("127.0.0.1") for _ in range(4)]
    for token_id, guest in enumerate(guests[:3]):
        assert entrance.enter(guest, 0.0) == ""
        entrance.admit(guest, token_id)
    assert entrance.enter(guests[3], 0.0) == "too many connections"


def test_whoever_says_nothing_keeps_nobody_out() -> None:
    entrance = Entrance(ListenerLimits(connections=3))
    bridge, silent, silent_too = (Guest(f"192.0.2.{number}") for number in range(3))
    entered(entrance, bridge, silent, silent_too)
    entrance.admit(bridge, 1)
    assert entered(entrance, Guest("192.0.2.9")) == [""]
    assert (bridge.gone, silent.gone, silent_too.gone) == (False, True, False)
    assert len(entrance) == 3


def test_a_token_has_so_many_places() -> None:
    entrance = Entrance(ListenerLimits(token_connections=1))
    first, second = Guest(), Guest()
    entered(entrance, first, second)
    assert entrance.has_place_for(7)
    entrance.admit(first, 7)
    assert not entrance.has_place_for(7)
    assert entrance.has_place_for(8)
    entrance.leave(first)
    assert entrance.has_place_for(7)


def test_an_address_of_a_balancer_is_held_to_the_totals_only() -> None:
    limits = ListenerLimits(
        connections=4, address_connections=1, balancers=("198.51.100.7", "2001:db8:7::/48")
    )
    entrance = Entrance(limits)
    there, beside = Guest("198.51.100.7"), Guest("198.51.100.8")
    assert entered(entrance, there, Guest("198.51.100.7"), Guest("2001:db8:7::1")) == ["", "", ""]
    entrance.note_failure(there, 0.0)
    assert entered(entrance, beside) == [""]
    assert entrance.is_balancer("198.51.100.7")
    assert not entrance.is_balancer("198.51.100.8")
    assert not entrance.is_balancer("somewhere")
