import pytest

from joulebook.core.estimate import Estimate, refused


def test_a_refusal_has_a_reason_and_no_value() -> None:
    number = refused("nothing was measured", method="trapezoid-1", coverage_ratio=0.25)
    assert (number.value, number.reason) == (None, "nothing was measured")
    assert number.coverage_ratio == 0.25


@pytest.mark.parametrize(("value", "reason"), [(None, None), (1.0, "and yet a reason")])
def test_a_number_has_a_value_or_a_reason(value: float | None, reason: str | None) -> None:
    with pytest.raises(ValueError, match="a value or a reason"):
        Estimate(value=value, coverage_ratio=1.0, method="trapezoid-1", reason=reason)
