from joulebook.storage.records import Latest, Series
from joulebook.web.words.newest import last_heard_ms, newest_of

_NOW_MS = 1_772_625_600_000


def latest(
    device: str, quantity: str, unit: str, value: float | str | bool, ago_s: float = 4
) -> Latest:
    series = Series(1, 1, 1, device, quantity, unit, "number", 0)
    return Latest(series, _NOW_MS - round(ago_s * 1000), value)


def headline(*readings: Latest) -> str:
    (device,) = newest_of(readings, now_ms=_NOW_MS)
    return device.headline.replace("\u00a0", " ")


def test_a_sign_is_said_in_a_word() -> None:
    assert headline(latest("battery", "power", "W", -1_240.0)) == "1.24 kW, emptying"
    assert headline(latest("battery", "power", "W", 300.0)) == "300 W, filling"
    assert headline(latest("grid", "power", "W", -300.0)) == "300 W, selling"
    assert headline(latest("grid-2", "power", "W", 300.0)) == "300 W, buying"


def test_what_rounds_to_nothing_has_no_direction() -> None:
    assert headline(latest("battery", "power", "W", -0.2)) == "0 W, idle"


def test_a_power_without_direction_is_only_a_number() -> None:
    assert headline(latest("pv", "power", "W", 1_500.0)) == "1.50 kW"
    assert headline(latest("battery", "power", "W", "unknown")) == "unknown"


def test_a_battery_says_how_full_it_claims_to_be() -> None:
    readings = latest("battery", "power", "W", 300.0), latest("battery", "soc", "/", 0.64)
    assert headline(*readings) == "300 W, filling; 64 % full"


def test_another_device_says_its_first_quantity() -> None:
    assert headline(latest("ambient", "temperature", "Cel", 16.2)) == "16.2 °C"
    assert headline(latest("kiln", "b", "A", 2.0), latest("kiln", "a", "A", 1.0)) == "a: 1.0 A"


def test_devices_come_in_the_order_of_the_energy() -> None:
    devices = newest_of(
        [latest(name, "power", "W", 1.0) for name in ("kiln", "battery", "load", "pv-2", "pv")],
        now_ms=_NOW_MS,
    )
    assert [device.device for device in devices] == ["pv", "pv-2", "load", "battery", "kiln"]
    assert [device.label for device in devices][1] == "Panels 2"


def test_how_long_ago_it_was_heard() -> None:
    (device,) = newest_of(
        [latest("pv", "power", "W", 1.0, 700), latest("pv", "voltage", "V", 2.0, 601)],
        now_ms=_NOW_MS,
    )
    assert device.heard == "10\u00a0min ago"
    assert device.age_s == 601
    assert device.stale
    assert [reading.quantity for reading in device.readings] == ["power", "voltage"]
    assert device.readings[0].value == 1.0
    assert device.readings[0].at_ms == _NOW_MS - 700_000


def test_a_device_heard_just_now_is_not_stale_even_if_its_clock_is_ahead() -> None:
    (device,) = newest_of([latest("pv", "power", "W", 1.0, -30)], now_ms=_NOW_MS)
    assert (device.heard, device.stale) == ("0\u00a0s ago", False)


def test_when_anything_was_heard_last() -> None:
    readings = [latest("pv", "power", "W", 1.0, 9), latest("load", "power", "W", 1.0, 5)]
    assert last_heard_ms(readings) == _NOW_MS - 5_000
    assert last_heard_ms([]) is None
