"""What a person asks of planning: the fields of its form, read and checked."""

from dataclasses import replace
from datetime import date

from joulebook.core.money.tariff import DAY_MIN
from joulebook.summaries.plan_ground import Asked, PlanGround
from joulebook.web.access.forms import Form
from joulebook.web.region.dates import month_name

MONTHS = [(month, month_name(date(2024, month, 1))) for month in range(1, 13)]
HOURS = [(hour * 60, f"{hour:02d}:00") for hour in range(25)]

#: What is kept in reserve where nothing else was asked. [%]
_RESERVE = 10


def standing(ground: PlanGround) -> dict[str, str]:
    """Return what the form shows of the present equipment."""
    now = {"panels": "100", "reserve": str(_RESERVE), "to": str(DAY_MIN), "last": "12"}
    battery = ground.battery
    if battery is None:
        return now | {"battery_kwh": "0"}
    return now | {
        "battery_kwh": f"{battery.capacity_wh / 1000:.1f}",
        "charge_kw": f"{battery.charge_w / 1000:.2f}",
        "discharge_kw": f"{battery.discharge_w / 1000:.2f}",
        "round_trip": f"{battery.round_trip[0] * 100:.1f}",
    }


def asked_of(form: Form, ground: PlanGround) -> Asked:
    """Return the change that a form asks for; what is empty stays as it is.

    Faults are in the form; then what is returned is of no use.
    """
    battery, plain = ground.battery, Asked()
    if battery is not None:
        plain = replace(
            plain,
            capacity_wh=battery.capacity_wh,
            charge_w=battery.charge_w,
            discharge_w=battery.discharge_w,
            round_trip=battery.round_trip,
        )
    shown = standing(ground)
    hours, months = ([str(value) for value, _ in each] for each in (HOURS, MONTHS))
    return Asked(
        more_w=1000 * (form.number("load_kw", low=0, high=100) or 0.0),
        more_wh_a_day=1000 * (form.number("load_kwh", low=0, high=1000) or 0.0),
        from_minute=_chosen(form, "from", hours[:-1], 0),
        to_minute=_chosen(form, "to", hours[1:], DAY_MIN),
        first_month=_chosen(form, "first", months, 1),
        last_month=_chosen(form, "last", months, 12),
        pv_scale=_kept(form, shown, "panels", 100.0, plain.pv_scale, high=1000),
        capacity_wh=_kept(form, shown, "battery_kwh", 0.001, plain.capacity_wh, high=1000),
        charge_w=_kept(form, shown, "charge_kw", 0.001, plain.charge_w, high=1000),
        discharge_w=_kept(form, shown, "discharge_kw", 0.001, plain.discharge_w, high=1000),
        round_trip=_round_trip(form, shown, plain.round_trip),
        reserve_ratio=_kept(form, shown, "reserve", 100.0, _RESERVE / 100, high=90),
    )


def _kept(
    form: Form, shown: dict[str, str], name: str, scale: float, otherwise: float, *, high: float
) -> float:
    """Return a number over its scale; the exact one that holds now where it was left as shown."""
    found = form.number(name, low=0, high=high)
    if found is None or form.fields.get(name, "").strip() == shown.get(name):
        return otherwise
    return found / scale


def _round_trip(
    form: Form, shown: dict[str, str], otherwise: tuple[float, float, float]
) -> tuple[float, float, float]:
    """Return what a battery gives back: as measured with its interval, or one that was asked."""
    found = form.number("round_trip", low=50, high=100)
    if found is None or form.fields.get("round_trip", "").strip() == shown.get("round_trip"):
        return otherwise
    return (found / 100, found / 100, found / 100)


def _chosen(form: Form, name: str, among: list[str], otherwise: int) -> int:
    if not form.fields.get(name):
        return otherwise
    return int(form.choice(name, among))
