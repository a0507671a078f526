from joulebook.core.estimate import Estimate, refused
from joulebook.web.words import sentences


def number(wh: float | None, coverage: float = 1.0) -> Estimate:
    if wh is None:
        return refused("the meter was silent", method="test-1")
    return Estimate(value=wh, coverage_ratio=coverage, method="test-1")


def sentence(made: float | None, used: float | None, lost: float | None, known: float = 1) -> str:
    numbers = {"pv_wh": number(made), "load_wh": number(used), "loss_wh": number(lost, known)}
    return sentences.energy_sentence("This week", "studio", numbers).replace("\u00a0", " ")


def test_the_answer_comes_first() -> None:
    assert sentence(61_000, 83_000, 4_100) == (
        "This week the panels made 61 kWh and the studio used 83 kWh; 4.1 kWh were lost on the way."
    )


def test_a_loss_that_is_known_for_less_of_the_time_says_so() -> None:
    assert sentence(61_000, 83_000, 4_100, known=0.8).endswith(
        "; 4.1 kWh were lost on the way, as far as is known, for 80 % of the time."
    )


def test_a_loss_below_zero_is_no_loss() -> None:
    assert sentence(61_000, 83_000, -500).endswith("; the meters disagree by 0.50 kWh.")


def test_what_is_not_given_is_said_not_to_be() -> None:
    assert sentence(None, 83_000, None) == (
        "This week nothing is known of the panels and the studio used 83 kWh."
        " What was lost on the way is not given."
    )
    assert sentence(61_000, None, None) == (
        "This week the panels made 61 kWh and what the studio used was not measured."
        " What was lost on the way is not given."
    )
    assert sentence(None, None, None) == (
        "This week, neither what the panels made nor what the studio used was measured."
    )


def test_how_much_was_measured() -> None:
    assert sentences.measured_sentence(1.0, so_far=False) == "Measured: 100\u00a0% of the time."
    assert sentences.measured_sentence(0.69, so_far=True) == (
        "Measured: 69\u00a0% of the time so far. What was not measured is not in these numbers."
    )


def test_what_the_battery_gave_back() -> None:
    given = Estimate(value=0.912, low=0.9, high=0.925, coverage_ratio=1, method="test-1")
    assert sentences.round_trip_sentence("October 2026", given).replace("\u00a0", " ") == (
        "In October 2026 the battery gave back 91.2 % of what went into it (90.0\N{EN DASH}92.5 %)."
    )
    assert sentences.round_trip_sentence("October 2026", number(None)) == (
        "October 2026: what the battery gave back is not given, since the meter was silent."
    )
