from joulebook_bridge.modbus.backoff import Backoff


def test_waits_double_up_to_the_longest_and_begin_anew() -> None:
    backoff = Backoff(first_s=1, longest_s=10)
    assert [backoff.failed() for _ in range(6)] == [1, 2, 4, 8, 10, 10]
    assert backoff.succeeded() == 6
    assert backoff.failed() == 1


def test_a_year_of_failures_is_no_large_number() -> None:
    backoff = Backoff(failures=10_000_000)
    assert backoff.failed() == 60
