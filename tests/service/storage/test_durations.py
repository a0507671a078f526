from joulebook.storage.durations import BOUNDS_S, Durations


def test_each_duration_is_counted_at_the_first_bound_that_holds_it() -> None:
    took = Durations()
    for duration_s in (0.0005, 0.001, 0.002, 31.0):
        took.note(duration_s)
    copy = took.copy()
    took.note(0.2)
    # 0.5 and 1 ms are at most 1 ms, 2 ms are at most 2.5 ms, 31 s are above all bounds.
    assert copy.counts == [2, 1, *[0] * (len(BOUNDS_S) - 2), 1]
    assert copy.sum_s == 0.0005 + 0.001 + 0.002 + 31.0
    assert sum(took.counts) == 5
