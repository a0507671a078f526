"""Token buckets, reckoned by hand."""

import pytest

from joulebook.ingest.pace import Bucket, Buckets, is_this_machine, neighbourhood


def test_what_comes_at_once_is_free_and_more_has_to_wait() -> None:
    bucket = Bucket(rate=10.0, most=20.0, now_s=100.0)
    assert not bucket.take(20, 100.0)
    assert bucket.wait_s(100.0) == 0.0
    assert bucket.take(5, 100.0)  # 5 too many, at 10 a second
    assert bucket.wait_s(100.0) == 0.5
    assert bucket.wait_s(100.25) == 0.25
    assert bucket.wait_s(101.0) == 0.0


def test_it_fills_steadily_and_no_fuller_than_full() -> None:
    bucket = Bucket(rate=10.0, most=20.0, now_s=0.0)
    bucket.take(20, 0.0)
    bucket.take(10, 1.0)  # 10 have come back by now
    assert bucket.wait_s(1.0) == 0.0
    bucket.take(21, 1000.0)  # 20 are there, however long it was idle
    assert bucket.wait_s(1000.0) == pytest.approx(0.1)


def test_a_clock_that_goes_back_takes_nothing_away() -> None:
    bucket = Bucket(rate=10.0, most=20.0, now_s=100.0)
    bucket.take(20, 0.0)
    assert bucket.wait_s(0.0) == 0.0


def test_each_key_has_its_own() -> None:
    buckets = Buckets(rate=1.0, most=1.0)
    buckets.of("one", 0.0).take(3, 0.0)
    assert buckets.of("one", 0.0).wait_s(0.0) == 2.0
    assert buckets.of("other", 0.0).wait_s(0.0) == 0.0


def test_the_longest_not_used_is_forgotten_first() -> None:
    buckets = Buckets(rate=1.0, most=1.0, keys=2)
    for key in ("first", "second"):
        buckets.of(key, 0.0).take(5, 0.0)
    assert buckets.of("first", 0.0).wait_s(0.0) == 4.0
    buckets.of("third", 0.0)
    assert buckets.of("first", 0.0).wait_s(0.0) == 4.0
    assert buckets.of("second", 0.0).wait_s(0.0) == 0.0  # begun anew


@pytest.mark.parametrize(
    ("address", "key"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),  # RFC 4291 §2.5.5.2
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("testclient", "testclient"),
    ],
)
def test_an_ipv6_network_is_one_neighbourhood(address: str, key: str) -> None:
    assert neighbourhood(address) == key


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.9.1", "::1", "::ffff:127.0.0.1"])
def test_this_machine(address: str) -> None:
    assert is_this_machine(address)


@pytest.mark.parametrize("address", ["192.0.2.7", "2001:db8::1", "testclient", ""])
def test_other_machines(address: str) -> None:
    assert not is_this_machine(address)
