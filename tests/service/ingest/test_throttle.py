import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest import throttle
from joulebook.ingest.throttle import Throttle

HERE, THERE = "192.0.2.7", "198.51.100.9"


def guesses(door: Throttle, account: str, address: str, *, seconds: int) -> int:
    """Return how many guesses get through in so many seconds to whoever never stops."""
    return sum(
        door.attempt(account, address, now_s=tenth / 10) == 0 for tenth in range(10 * seconds)
    )


def test_people_who_mistype_do_not_wait() -> None:
    door = Throttle()
    assert [door.attempt("ada", HERE, now_s=0.0) for _ in range(6)] == [0.0] * 6
    assert door.attempt("ada", HERE, now_s=0.0) == 1.0


def test_the_delay_doubles_up_to_a_minute() -> None:
    door = Throttle()
    at_s, waits = 0.0, []
    for _ in range(14):
        wait_s = door.attempt("ada", HERE, now_s=at_s)
        if wait_s:
            waits.append(wait_s)
            at_s += wait_s
            assert door.attempt("ada", HERE, now_s=at_s) == 0.0
    # By hand: 1, 2, 4, ... s by account and by address alike.
    assert waits[:6] == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0]


def test_a_day_of_guessing_at_one_account_gets_few_guesses() -> None:
    # By hand: at most one a minute from the 13th on, from however many addresses.
    door = Throttle()
    made = sum(
        door.attempt("ada", f"203.0.113.{second % 250}", now_s=float(second)) == 0
        for second in range(86_400)
    )
    assert 1440 <= made <= 1440 + 13


def test_an_address_that_guesses_at_many_accounts_waits_too() -> None:
    door = Throttle()
    made = sum(door.attempt(f"name {n}", HERE, now_s=n / 10) == 0 for n in range(36_000))
    assert made < 30  # in an hour: 6 at once, then 1, 2, 4 ... 300 s apart


def test_whoever_gets_in_is_forgiven() -> None:
    door = Throttle()
    for _ in range(6):
        door.attempt("ada", HERE, now_s=0.0)
    door.succeeded("ada", HERE)
    assert door.attempt("ada", HERE, now_s=0.0) == 0.0


def test_getting_in_as_oneself_does_not_clear_guesses_at_others() -> None:
    door = Throttle()
    for n in range(6):
        door.attempt(f"name {n}", HERE, now_s=0.0)
        if n == 3:
            door.succeeded("name 3", HERE)
    assert door.attempt("name 9", HERE, now_s=0.0) == 0.0  # the one that was forgiven
    assert door.attempt("name 9", HERE, now_s=0.0) > 0


def test_strangers_do_not_delay_the_owner_where_he_got_in_before() -> None:
    door = Throttle()
    door.attempt("ada", HERE, now_s=0.0)
    door.succeeded("ada", HERE)
    for second in range(600):
        door.attempt("ada", THERE, now_s=float(second))
        door.attempt("rui", HERE, now_s=float(second))  # also behind her own address
    assert door.attempt("ada", THERE, now_s=600.0) > 0
    assert door.attempt("rui", HERE, now_s=600.0) > 0
    assert door.attempt("ada", HERE, now_s=600.0) == 0.0


def test_where_he_is_known_guesses_are_delayed_as_well() -> None:
    door = Throttle()
    door.know("ada", HERE)
    # By hand: 6 at once, then 1, 2, 4, 8 s apart, then 10 s each.
    assert guesses(door, "ada", HERE, seconds=600) <= 6 + 4 + 59


def test_after_an_hour_without_a_failure_all_is_forgotten() -> None:
    door = Throttle()
    for _ in range(6):
        door.attempt("ada", HERE, now_s=0.0)
    assert door.attempt("ada", HERE, now_s=0.5) > 0
    assert [door.attempt("ada", HERE, now_s=3600.0) for _ in range(6)] == [0.0] * 6


def test_the_64_bits_of_a_network_count_as_one_address() -> None:
    # RFC 6177: a house gets at least a /64.
    door = Throttle()
    for n in range(6):
        door.attempt(f"name {n}", f"2001:db8::{n:x}", now_s=0.0)
    assert door.attempt("ada", "2001:db8::ffff", now_s=0.0) > 0
    assert door.attempt("ada", "2001:db8:0:1::1", now_s=0.0) == 0.0


def test_where_the_address_is_not_known_the_account_counts_alone() -> None:
    door = Throttle()
    for _ in range(6):
        assert door.attempt("ada", "", now_s=0.0) == 0.0
    assert door.attempt("ada", "", now_s=0.0) > 0
    assert door.attempt("bob", "", now_s=0.0) == 0.0


def test_what_it_remembers_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(throttle, "_MOST", 10)
    door = Throttle()
    for n in range(50):
        door.attempt(f"name {n}", f"{n}" + "x" * 10_000, now_s=0.0)
        door.know(f"name {n}", HERE)
        door.succeeded(f"name {n}", f"192.0.2.{n}")  # also of one that is forgotten meanwhile
    assert len(door._failures) <= 10
    assert len(door._known) == 10
    assert all(len(place) <= 80 for _, place in door._failures)


@given(
    st.lists(
        st.tuples(st.sampled_from("ab"), st.sampled_from((HERE, THERE)), st.booleans()), max_size=60
    )
)
@settings(derandomize=True, deadline=None, max_examples=200)
def test_nobody_waits_longer_than_five_minutes(tries: list[tuple[str, str, bool]]) -> None:
    door = Throttle()
    for account, address, right in tries:
        wait_s = door.attempt(account, address, now_s=0.0)
        assert 0.0 <= wait_s <= 300.0
        assert door.attempt("never seen", "203.0.113.1", now_s=0.0) == 0.0
        door.succeeded("never seen", "203.0.113.1")
        if wait_s == 0 and right:
            door.succeeded(account, address)
