"""What waits and how fast it comes, reckoned by hand."""

from dataclasses import replace

import pytest

from joulebook.ingest.mqtt.limits import SET_ASIDE_COSTS, ListenerLimits
from joulebook.ingest.mqtt.pacing import Flow, Share, weight

LIMITS = ListenerLimits(
    messages_per_s=10.0,
    bytes_per_s=1000.0,
    total_messages_per_s=15.0,
    total_bytes_per_s=1500.0,
    at_once_s=2.0,
)


def flow(limits: ListenerLimits = LIMITS) -> Flow:
    return Flow(limits, Share[str](limits))


def test_messages_and_bytes_have_rates_of_their_own() -> None:
    one = flow()
    one.hand_in(20, 0, 100.0)
    assert one.wait_s(100.0) == 0.0
    one.hand_in(5, 0, 100.0)
    assert one.wait_s(100.0) == 0.5
    other = flow()
    other.arrive(2500, 100.0)
    assert other.wait_s(100.0) == 0.5


def test_all_together_have_a_rate_too() -> None:
    share = Share[str](LIMITS)
    one, other = Flow(LIMITS, share), Flow(LIMITS, share)
    one.hand_in(20, 0, 100.0)
    other.hand_in(20, 0, 100.0)  # 40, and 30 may come at once: 10 at 15 a second
    assert other.wait_s(100.0) == pytest.approx(10 / 15)


def test_what_is_set_aside_costs_more() -> None:
    one = flow()
    one.hand_in(2, 0, 100.0)
    one.settle(2, 0, 1, 100.0)
    one.hand_in(20 - 1 - SET_ASIDE_COSTS, 0, 100.0)
    assert one.wait_s(100.0) == 0.0
    one.hand_in(1, 0, 100.0)
    assert one.wait_s(100.0) == pytest.approx(0.1)


def test_so_much_may_wait() -> None:
    limits = replace(LIMITS, waiting_messages=2, waiting_bytes=5000, total_waiting_bytes=6000)
    share = Share[str](limits)
    one, other = Flow(limits, share), Flow(limits, share)
    one.hand_in(1, weight(4000, 1), 0.0)
    assert (one.is_full(), one.is_settled(), share.has_room()) == (False, False, True)
    one.hand_in(1, 600, 0.0)  # the second message, and the 5,000th byte
    assert one.is_full()
    other.hand_in(1, 1000, 0.0)
    assert (other.is_full(), share.has_room()) == (False, False)
    one.settle(1, 4400, 0, 0.0)
    assert (one.is_full(), share.has_room()) == (False, True)
    one.settle(1, 600, 0, 0.0)
    assert one.is_settled()
    one.hand_in(1, 5000, 0.0)
    assert one.is_full()


def test_of_too_many_unfinished_packets_the_largest_has_to_go() -> None:
    share = Share[str](replace(LIMITS, total_unfinished_bytes=100))
    share.hold("small", 40)
    share.hold("large", 60)
    assert share.too_much() is None
    share.hold("small", 41)
    assert share.too_much() == "large"
    share.hold("large", 0)
    assert share.too_much() is None
    share.hold("small", 101)
    assert share.too_much() == "small"
