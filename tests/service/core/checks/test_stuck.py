"""Values that stay the same."""

import pytest

from joulebook.core.checks.stuck import stuck
from joulebook.core.history import Floats, Instants
from tests.helpers.checked_sites import Change, Flags, sound_site


def _from(minute: int, minutes: int) -> Change:
    def hold(value: Floats) -> Floats:
        value[minute : minute + minutes] = value[minute]
        return value

    return hold


@pytest.mark.parametrize("device", ["battery", "inverter", "pv", "grid", "load"])
def test_a_sound_site_moves(device: str) -> None:
    assert stuck(sound_site().inputs(), device).verdict == "good"


@pytest.mark.parametrize(
    ("device", "quantity", "hours", "words"),
    [
        (
            "grid",
            "voltage_l1",
            5,
            "voltage_l1 of grid stayed the same to its last digit for 5 h 0 min",
        ),
        ("load", "power", 6, "power of load stayed the same to its last digit for 6 h 0 min"),
        (
            "battery",
            "voltage",
            30,
            "voltage of battery stayed the same to its last digit for 1 d 6 h",
        ),
    ],
)
def test_a_value_that_stays_is_told(device: str, quantity: str, hours: int, words: str) -> None:
    site = sound_site().changed(device, **{quantity: _from(600, hours * 60 + 1)})
    finding = stuck(site.inputs(), device)
    assert (finding.verdict, finding.sentence) == ("trouble", words)
    assert finding.evidence[f"{quantity}_same_h"] == pytest.approx(hours)
    assert finding.caution is not None


@pytest.mark.parametrize("amps", [0.0, -0.2])
def test_nothing_and_next_to_nothing_may_stay(amps: float) -> None:
    # A battery at rest shows 0 A, or its own draw of -0.2 A, for days.
    def rest(value: Floats) -> Floats:
        value[1000:] = amps
        return value

    site = sound_site().changed("battery", current=rest, power=rest)
    assert stuck(site.inputs(), "battery").verdict == "good"


def test_silence_is_not_the_same_value() -> None:
    site = sound_site().changed("grid", voltage_l1=_from(600, 2000))

    # Of the stretch that stays only an hour at each end arrived.
    def keep(_: str, at_ms: Instants) -> Flags:
        minute = (at_ms - at_ms[0]) // 60_000
        there: Flags = (minute < 660) | (minute > 2540)
        return there

    assert stuck(site.inputs(keep=keep), "grid").verdict == "good"


def test_a_device_with_nothing_to_tell() -> None:
    inputs = sound_site().without("inverter.dc_voltage", "inverter.temperature").inputs()
    assert stuck(inputs, "inverter").verdict == "unclear"


def test_a_few_readings_tell_nothing() -> None:
    inputs = sound_site().inputs(keep=lambda _, at_ms: at_ms < at_ms[5])
    assert stuck(inputs, "grid").verdict == "unclear"
