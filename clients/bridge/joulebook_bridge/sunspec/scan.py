"""Looking at a line: who answers, what it says it is, and which quantities it gives."""

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from joulebook_bridge.modbus.faults import RefusedFault, SilentFault
from joulebook_bridge.modbus.lines import Function
from joulebook_bridge.modbus.reading import Source
from joulebook_bridge.sunspec.choice import choose
from joulebook_bridge.sunspec.mapping import Match, charging_is_positive
from joulebook_bridge.sunspec.models import label, points, text, value
from joulebook_bridge.sunspec.walk import Chain, Model, find_chain

_WARRANTY_EPOCH = datetime.date(2000, 1, 1)  # model 802: "Number of days since 1/1/2000"
_COMMON = 1
_CONTROLS = frozenset({123, 704, 705, 706})  # settings that others write; nothing to measure


@dataclass(frozen=True, slots=True)
class Found:
    """A unit that answered.

    Attributes
    ----------
    chain : Chain or None
        Its models, ``None`` where it has none.
    """

    unit: int
    chain: Chain | None

    @property
    def models(self) -> Sequence[Model]:
        """Its models, if any."""
        return self.chain.models if self.chain else ()

    def name(self) -> str:
        """Return what it calls itself: maker, model, version."""
        said = {
            name: text(model, point)
            for model in self.models
            if model.id == _COMMON
            for name, point in points(model).items()
            if point.type == "string"
        }
        words = [said.get(name, "") for name in ("Mn", "Md", "Vr")]
        return " ".join(word for word in words if word) or "no name"


def scan(line: Source, units: Iterable[int]) -> list[Found]:
    """Return the units of a line that answer.

    Raises
    ------
    UnreachableFault
        If there is no connection.
    """
    found = []
    for unit in units:

        def read(address: int, count: int, unit: int = unit) -> Sequence[int]:
            return line.read(unit, Function.HOLDING, address, count)

        try:
            found.append(Found(unit, find_chain(read)))
        except (SilentFault, RefusedFault):
            continue  # nobody there, or a gateway that says so
    return found


def describe(found: Sequence[Found]) -> list[str]:
    """Return what was found, in lines for a person."""
    lines: list[str] = []
    for each, chosen in zip(found, choose([each.models for each in found]), strict=True):
        if each.chain is None:
            lines.append(
                f"unit {each.unit} answers, and does not describe itself. "
                "Give it a register map: docs/register-maps.md"
            )
            continue
        lines.append(f"unit {each.unit}: {each.name()} (SunSpec from address {each.chain.base})")
        lines += [f"  model {it.id} at {it.address}: {label(it.id)}" for it in each.models]
        lines += [f"  says of itself: {fact}" for fact in facts(each.models)]
        for match in chosen:
            lines.append(f"  {match.target.device}/{match.target.quantity} {shown(match)}")
            if is_directed(match) and charging_is_positive(match, each.models) is None:
                lines.append(
                    "    which sign is charging? Nobody can say while it rests: scan again while "
                    "it charges or discharges"
                )
    return lines


def is_directed(match: Match) -> bool:
    """Tell whether a quantity runs both ways."""
    kind = match.target.device.partition("-")[0]
    return (kind, match.target.quantity) in {
        ("battery", "current"),
        ("battery", "power"),
        ("inverter", "dc_current"),
    }


def shown(match: Match) -> str:
    """Return the value at the scan with its unit."""
    if match.value is None:
        return "nothing"
    unit = "" if match.target.unit == "/" else match.target.unit
    return f"{match.value:.10g} {unit}".strip()


def facts(models: Sequence[Model]) -> list[str]:
    """Return ratings and the like: worth knowing, and no readings."""
    told = []
    for model in models:
        found = points(model)

        def number(name: str, model: Model = model) -> float | None:
            point = points(model).get(name)
            return None if point is None else value(model, point)

        if model.id == 802:
            if (charge := number("AHRtg")) is not None:
                told.append(f"rated {charge:g} Ah")
            if (energy := number("WHRtg")) is not None:
                told.append(f"rated {energy / 1000:g} kWh")
            if (days := number("WarrDt")) is not None:
                told.append(f"warranty until {warranty_date(int(days))}")
        elif model.id in (120, 702):
            power = number("WRtg") if model.id == 120 else number("WMaxRtg")
            if power is not None:
                told.append(f"rated {power:g} W")
        elif model.id in _CONTROLS:
            told.append(f"model {model.id} holds settings: joulebook neither writes nor needs them")
        elif not found:
            told.append(f"model {model.id} is not known here, and is passed over")
    return told


def warranty_date(days: int) -> datetime.date | None:
    """Return the date that model 802's number of days means, ``None`` beyond the calendar."""
    try:
        return _WARRANTY_EPOCH + datetime.timedelta(days=days)
    except OverflowError:
        return None
