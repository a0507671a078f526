"""A forecast as a JSON document."""

from zoneinfo import ZoneInfo

from joulebook.core.outlook.forecast import DateBand, FanPoint, Forecast
from joulebook.summaries.numbers import Document, date_text, number


def forecast_document(found: Forecast, zone: ZoneInfo, *, fan: bool = True) -> Document:
    """Return a forecast; the fan of years only where it is asked for."""
    document = {
        "at_end": _fan_point(found.fan[-1], zone) if found.fan else None,
        **number(found.soh_at_end, "expected_ratio"),
        "probability_met": found.probability_met,
        "verdict": found.verdict,
        "basis": found.basis,
        "throughput_reached": _band(found.throughput_reached, zone),
        "floor_reached": _band(found.floor_reached, zone),
    }
    if fan:
        document["fan"] = [_fan_point(point, zone) for point in found.fan]
    return document


def _fan_point(point: FanPoint, zone: ZoneInfo) -> Document:
    levels = ("p5_ratio", "p10_ratio", "p50_ratio", "p90_ratio", "p95_ratio")
    return {
        "date": date_text(point.at_ms, zone),
        **{level: round(getattr(point, level), 5) for level in levels},
    }


def _band(band: DateBand | None, zone: ZoneInfo) -> Document | None:
    """Return a band of dates; ``beyond`` stands for later than 15 years."""
    if band is None:
        return None
    ends = {"early": band.early_ms, "middle": band.middle_ms, "late": band.late_ms}
    return {name: "beyond" if at is None else date_text(at, zone) for name, at in ends.items()}
