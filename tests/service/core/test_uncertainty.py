"""Two parts of an error. JCGM 100:2008 §5: independent parts add as squares."""

import pytest

from joulebook.core.uncertainty import Uncertainty


def test_both_parts_together_and_the_interval_of_a_normal_error() -> None:
    # 3-4-5; the 95th percentile of a normal error is 1.6449 standard deviations.
    u = Uncertainty(own=3.0, shared=4.0)
    assert u.total == pytest.approx(5.0)
    assert u.half_width == pytest.approx(8.2245)
