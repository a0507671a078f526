import numpy as np
import pytest

from joulebook.bench.questions import Answer, WrongAnswerError, require_same

TRUTH: Answer = {"day": np.array([1, 2]), "charge_wh": np.array([10.0, 20.0])}


def test_the_right_answer_passes_and_so_does_one_that_differs_in_the_last_digits() -> None:
    require_same("energy", "somebody", TRUTH, TRUTH)
    almost = TRUTH | {"charge_wh": np.array([10.000000001, 20.0])}
    require_same("energy", "somebody", almost, TRUTH)


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ({"day": TRUTH["day"]}, r"columns \['day'\]"),
        (TRUTH | {"charge_wh": np.array([10.0])}, "1 of charge_wh, not 2"),
        (TRUTH | {"charge_wh": np.array([10.0, 20.001])}, r"charge_wh\[1\] is 20.001, not 20.0"),
        (TRUTH | {"charge_wh": np.array([np.nan, 20.0])}, r"charge_wh\[0\] is nan"),
    ],
    ids=["a column is missing", "a value is missing", "a value is wrong", "a value is no number"],
)
def test_a_planted_wrong_answer_is_caught_and_named(answer: Answer, told: str) -> None:
    with pytest.raises(WrongAnswerError, match=f"somebody gave a wrong answer: .*{told}"):
        require_same("energy", "somebody", answer, TRUTH)


def test_what_is_kept_in_steps_may_be_half_a_step_off_and_nothing_else_may() -> None:
    off = TRUTH | {"charge_wh": np.array([10.004, 20.0])}
    require_same("energy", "ours", off, TRUTH, {"charge_wh": 0.005})
    with pytest.raises(WrongAnswerError):
        require_same("energy", "ours", off, TRUTH, {"day": 0.005})
    with pytest.raises(WrongAnswerError):
        require_same("energy", "ours", off, TRUTH, {"charge_wh": 0.003})
