"""The PDF's parts on the battery: capacity, forecast, years, round trip, limits."""

from collections.abc import Iterator
from datetime import date

from reportlab.platypus import Flowable, KeepTogether

from joulebook.core.estimate import Estimate
from joulebook.evidence.gathered import Gathered
from joulebook.evidence.pdf.blocks import heading, listed, paragraph, table
from joulebook.evidence.pdf.drawings import Band, band_drawing
from joulebook.evidence.pdf.words import cells_of, fixed, percent, within
from joulebook.summaries.numbers import Document

_HEIGHT = 170.0


def capacity_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield the measured capacity over time, and what single nights imply."""
    wear = gathered.wear
    points = wear["capacity"]
    yield heading("Measured capacity")
    yield paragraph(_claims(wear))
    if not points:
        yield paragraph(f"Not given: {wear.get('capacity_reason', 'nothing was measured')}.")
        return
    given = [point for point in points if point["ah"] is not None]
    if len(given) > 1:
        yield paragraph("Ampere-hours with their 90 % interval; the dashes are the rated charge.")
        yield _capacity_drawing(gathered, given, width)
    yield from table(
        ("On", "Ah", "90 % interval", "Against the start", "90 % interval", "Method"),
        [_capacity_row(point) for point in points],
        (16, 12, 24, 16, 20, 12),
        width=width,
    )
    nights = wear["nights"]
    counting = sum(night["counts"] for night in nights["list"])
    yield paragraph(
        f"Told by {counting} of {len(nights['list'])} nights, all of them in nights.csv with the "
        "reason where one does not count. What single nights imply, by quarter of a year, as a "
        "check that anybody can follow:"
    )
    yield from table(
        ("Quarter from", "Nights", "Ah, median", "90 % interval", "Method"),
        [
            (each["from"], each["nights"], *_without_coverage(each, ("ah", "low_ah", "high_ah"), 1))
            for each in nights["quarters"]
        ],
        (20, 14, 26, 26, 14),
        width=width,
    )
    yield from listed(wear.get("capacity_cautions", []))


def _claims(wear: Document) -> str:
    """Return what the battery says of itself, which nothing here rests on."""
    said = [
        f"{percent(claim['soh_ratio'], 0)} of health ({claim['device']})"
        for claim in wear["claims"]
    ]
    if not said:
        return "The battery says nothing of its own health."
    return f"The battery says of itself: {', '.join(said)}. That is its belief, and used nowhere."


def _capacity_drawing(gathered: Gathered, given: list[Document], width: float) -> Flowable:
    rated = gathered.site.battery_ah
    return band_drawing(
        Band(
            [date.fromisoformat(point["date"]) for point in given],
            *([point[name] for point in given] for name in ("ah", "low_ah", "high_ah")),
        ),
        width=width,
        height=_HEIGHT,
        unit="Ah",
        level=None if rated is None else (rated, "rated"),
    )


def _capacity_row(point: Document) -> tuple[str, ...]:
    ah = _without_coverage(point, ("ah", "low_ah", "high_ah"), 1)
    health = _without_coverage(
        point["health"], ("ratio", "low_ratio", "high_ratio"), 1, scale=100.0
    )
    return (point["date"], *ah[:2], f"{health[0]} %", health[1], ah[2])


def _without_coverage(
    document: Document, names: tuple[str, str, str], digits: int, scale: float = 1.0
) -> tuple[str, str, str]:
    value, interval, _coverage, method = cells_of(document, names, digits, scale)
    return value, interval, method


def forecast_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield the forecast to the end of the warranty."""
    terms = gathered.wear["warranty"]
    fan = terms.get("fan")
    if not fan:
        yield heading("Forecast to the end of the warranty")
        yield paragraph(f"Not given: {terms.get('reason', 'nothing was measured')}.")
        return
    drawing = band_drawing(
        Band(
            [date.fromisoformat(point["date"]) for point in fan],
            *(
                [100 * point[name] for point in fan]
                for name in ("p50_ratio", "p5_ratio", "p95_ratio")
            ),
        ),
        width=width,
        height=_HEIGHT,
        unit="% of rated",
        level=(100 * terms["floor_ratio"], "warranted"),
    )
    words = heading("Forecast to the end of the warranty")
    yield KeepTogether([words, paragraph(f"It rests on {terms['basis']}."), drawing])
    yield from table(
        ("On", "Middle", "10 to 90 of 100 futures", "5 to 95 of 100 futures"),
        [
            (
                *(point["date"], percent(point["p50_ratio"])),
                f"{percent(point['p10_ratio'])} to {percent(point['p90_ratio'])}",
                f"{percent(point['p5_ratio'])} to {percent(point['p95_ratio'])}",
            )
            for point in fan
        ],
        (20, 20, 30, 30),
        width=width,
    )


def years_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield what the battery was exposed to and what went through it, year by year."""
    yield heading("Temperature and throughput by year")
    found = gathered.measurements
    yield from table(
        (
            *("Year", "Mean °C", "Above 35 °C, h", "Above 45 °C, h", "Charged below 0 °C, h"),
            *("At 3.40 V a cell, h", "Full cycles", "Measured"),
        ),
        [
            (
                *(each.year, _short(each.exposure.mean_c, 1), _short(each.exposure.hot_h, 0)),
                *(
                    _short(each.exposure.very_hot_h, 0),
                    _short(each.exposure.freezing_charging_h, 0),
                ),
                *(_short(each.exposure.high_voltage_h, 0), fixed(each.efc, 1)),
                percent(each.measured_ratio),
            )
            for each in (found.years if found else ())
        ],
        (10, 12, 13, 13, 14, 13, 13, 12),
        width=width,
    )


def round_trip_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield the round trip by quarter of a year."""
    yield heading("Round trip of the battery (DC) by quarter")
    yield from table(
        ("Quarter", "%", "90 % interval", "Measured", "Method"),
        [
            (
                each["name"],
                *cells_of(each, ("ratio", "low_ratio", "high_ratio"), 1, scale=100.0),
            )
            for each in gathered.efficiency["quarters"]
        ],
        (22, 34, 20, 11, 13),
        width=width,
    )


def limits_part(gathered: Gathered, width: float) -> Iterator[Flowable]:
    """Yield whether the terms' limits were kept."""
    yield heading("Limits of the terms")
    if gathered.measurements is None:
        yield paragraph("Not given: nothing was measured.")
        return
    kept = gathered.measurements.kept
    yield paragraph(
        "Hours beyond a limit as read. The interval's lower end counts only what an error of the "
        "sensor (1 °C, 0.5 % of the voltage) cannot explain."
    )
    yield from table(
        ("Beyond the limit for", "Hours", "Interval", "Measured", "Method"),
        [
            _limit_row("charging, too cold", kept.charge_cold),
            _limit_row("charging, too hot", kept.charge_hot),
            _limit_row("discharging, too cold", kept.discharge_cold),
            _limit_row("discharging, too hot", kept.discharge_hot),
            _limit_row("charge voltage", kept.over_voltage),
        ],
        (26, 30, 20, 12, 12),
        width=width,
    )
    yield paragraph(
        f"Highest voltage read: {_with_unit(kept.highest_v, 2, 'V')}. Temperature read: "
        f"{_with_unit(kept.coldest_c, 1, '°C')} at the least, "
        f"{_with_unit(kept.hottest_c, 1, '°C')} at the most."
    )


def _with_unit(value: float | None, digits: int, unit: str) -> str:
    return "none" if value is None else f"{fixed(value, digits)} {unit}"


def _short(estimate: Estimate, digits: int) -> str:
    return fixed(estimate.value, digits)


def _limit_row(what: str, estimate: Estimate) -> tuple[str, ...]:
    if estimate.value is None:
        return what, f"not given: {estimate.reason}", "", "", estimate.method
    return (
        what,
        fixed(estimate.value, 1),
        within(estimate.low, estimate.high, 1),
        percent(estimate.coverage_ratio, 0),
        estimate.method,
    )
