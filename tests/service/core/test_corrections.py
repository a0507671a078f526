"""By hand, unless a check says otherwise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from joulebook.core.corrections import KINDS, Correction, CorrectionKind, apply

AT_MS = np.array([0, 1000, 2000, 3000], dtype=np.int64)
VALUES = np.array([1.0, np.nan, -3.0, 0.0])


def made(
    made_ms: int, kind: CorrectionKind, value: float | None = None, **more: int | None
) -> Correction:
    return Correction(
        id=more.get("id") or made_ms,
        device="load",
        quantity="power",
        kind=kind,
        value=value,
        from_ms=more.get("from_ms"),
        to_ms=more.get("to_ms"),
        made_ms=made_ms,
        withdrawn_ms=more.get("withdrawn_ms"),
    )


def applied(*corrections: Correction) -> NDArray[np.float64]:
    before = VALUES.copy()
    corrected = apply(corrections, "load", "power", AT_MS, VALUES)
    np.testing.assert_array_equal(VALUES, before)
    return corrected


def test_without_a_correction_the_readings_are_handed_back_as_they_are() -> None:
    assert applied() is VALUES


def test_each_kind_does_what_it_says_and_missing_stays_missing() -> None:
    np.testing.assert_array_equal(applied(made(1, "sign")), [-1.0, np.nan, 3.0, 0.0])
    np.testing.assert_array_equal(applied(made(1, "scale", 10.0)), [10.0, np.nan, -30.0, 0.0])
    np.testing.assert_array_equal(applied(made(1, "offset", 2.5)), [3.5, np.nan, -0.5, 2.5])
    np.testing.assert_array_equal(applied(made(1, "exclude")), [np.nan] * 4)


def test_it_concerns_readings_from_an_instant_up_to_another_not_included() -> None:
    from_ms = applied(made(1, "offset", 1.0, from_ms=2000))
    np.testing.assert_array_equal(from_ms, [1.0, np.nan, -2.0, 1.0])
    to_ms = applied(made(1, "offset", 1.0, to_ms=2000))
    np.testing.assert_array_equal(to_ms, [2.0, np.nan, -3.0, 0.0])
    both = applied(made(1, "offset", 1.0, from_ms=1500, to_ms=3000))
    np.testing.assert_array_equal(both, [1.0, np.nan, -2.0, 0.0])
    assert applied(made(1, "offset", 1.0, from_ms=1500, to_ms=1900)) is VALUES


def test_they_follow_one_another_as_they_were_made() -> None:
    # 1 + 2 = 3, times 10 = 30; and 1 times 10 = 10, plus 2 = 12.
    offset, scale = made(1, "offset", 2.0), made(2, "scale", 10.0)
    assert applied(scale, offset)[0] == 30.0
    scale, offset = made(1, "scale", 10.0), made(2, "offset", 2.0)
    assert applied(offset, scale)[0] == 12.0


def test_made_at_the_same_instant_the_smaller_id_comes_first() -> None:
    offset, scale = made(5, "offset", 2.0, id=8), made(5, "scale", 10.0, id=7)
    assert applied(offset, scale)[0] == 12.0


def test_spans_that_overlap_act_where_each_of_them_is() -> None:
    # A clamp that was turned around, and later also read half.
    turned, halved = made(1, "sign", to_ms=3000), made(2, "scale", 2.0, from_ms=2000)
    np.testing.assert_array_equal(applied(turned, halved), [-1.0, np.nan, 6.0, 0.0])


def test_excluded_readings_stay_missing_whatever_comes_after() -> None:
    assert np.isnan(applied(made(1, "exclude"), made(2, "offset", 1.0))).all()


def test_withdrawn_ones_and_those_of_other_series_are_passed_over() -> None:
    withdrawn = made(1, "sign", withdrawn_ms=2)
    assert applied(withdrawn) is VALUES
    other = apply([made(1, "sign")], "load-2", "power", AT_MS, VALUES)
    assert other is VALUES
    assert apply([made(1, "sign")], "load", "power_l1", AT_MS, VALUES) is VALUES


def test_it_refuses_what_does_not_fit() -> None:
    with pytest.raises(ValueError, match=r"\(4,\) instants for \(3,\) readings"):
        apply([], "load", "power", AT_MS, VALUES[:3])
    with pytest.raises(ValueError, match="correction 1, a scale, has no value"):
        applied(made(1, "scale"))


MADE = st.builds(
    made,
    st.integers(1, 5),
    st.sampled_from(KINDS),
    st.floats(-4, 4),
    from_ms=st.none() | st.integers(-1, 4000),
    to_ms=st.none() | st.integers(-1, 4000),
    id=st.integers(1, 9),
)


@settings(derandomize=True, deadline=None)
@given(st.lists(MADE, max_size=4, unique_by=lambda each: (each.made_ms, each.id)))
def test_a_part_of_the_readings_is_corrected_as_the_whole_is(corrections: list[Correction]) -> None:
    # So it does not matter whether a day is read by itself or as a part of a year.
    whole = apply(corrections, "load", "power", AT_MS, VALUES)
    for cut in range(5):
        parts = [
            apply(corrections, "load", "power", AT_MS[place], VALUES[place])
            for place in (slice(cut), slice(cut, None))
        ]
        np.testing.assert_array_equal(np.concatenate(parts), whole)
