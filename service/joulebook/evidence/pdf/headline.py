"""What the PDF says first."""

from collections.abc import Iterator

from joulebook.evidence.gathered import Gathered
from joulebook.evidence.pdf.words import cells_of, fixed, percent
from joulebook.summaries.numbers import Document

_ENDS = ("low", "high")


def sentences(gathered: Gathered) -> Iterator[str]:
    """Yield the answer: what it holds, what it loses, whether it will hold."""
    wear, site = gathered.wear, gathered.site
    latest = wear.get("capacity_latest", {"ah": None, "reason": wear.get("capacity_reason")})
    if latest["ah"] is None:
        yield f"The capacity is not given, since {latest['reason']}."
    else:
        rated = f", {percent(latest['ah'] / site.battery_ah, 0)} of the rated charge"
        yield (
            f"The battery holds {fixed(latest['ah'], 1)} Ah (90 % interval "
            f"{fixed(latest['low_ah'], 1)} to {fixed(latest['high_ah'], 1)} Ah) on "
            f"{latest['date']}{rated if site.battery_ah else ''}."
        )
    fade = wear["fade"]
    if fade["ratio_per_year"] is None:
        yield f"What it loses a year is not given, since {fade['reason']}."
    else:
        yield (
            f"It loses {percent(fade['ratio_per_year'])} a year (90 % interval "
            f"{percent(fade['low'])} to {percent(fade['high'])})."
        )
    terms = wear["warranty"]
    if terms["probability_met"] is None:
        yield f"Whether it will hold until the warranty ends is not given, since {terms['reason']}."
    else:
        yield (
            f"That it holds {percent(terms['floor_ratio'], 0)} until {terms['ends']}: "
            f"{terms['verdict']} ({_chance(terms['probability_met'])})."
        )


def _chance(probability: float) -> str:
    if probability > 0.99:
        return "chance above 99 %"
    return "chance below 1 %" if probability < 0.01 else f"chance {percent(probability, 0)}"


def headline_rows(gathered: Gathered) -> list[tuple[str, ...]]:
    """Return the table's rows: what, value, interval, coverage, method."""
    wear, efficiency = gathered.wear, gathered.efficiency
    nothing: Document = {"reason": wear.get("capacity_reason", "nothing was measured")}
    latest, energy = wear.get("capacity_latest", nothing), wear.get("energy", nothing)
    exposed = wear.get("exposure", {})
    ratio = ("ratio", "low_ratio", "high_ratio")
    numbers: list[tuple[str, Document, tuple[str, str, str], int, float]] = [
        ("Capacity, Ah", latest, ("ah", "low_ah", "high_ah"), 1, 1.0),
        ("Energy from full to low, kWh", energy, ("wh", "low_wh", "high_wh"), 2, 1e-3),
        ("Loss a year, % of the start", wear["fade"], ("ratio_per_year", *_ENDS), 2, 100.0),
        ("Full cycles, equivalent", wear["efc"], ("total", *_ENDS), 1, 1.0),
        ("Round trip (DC), %", efficiency["round_trip"], ratio, 1, 100.0),
        ("Idle draw of the inverter, W", efficiency["idle_w"], ("value", *_ENDS), 1, 1.0),
        ("Mean temperature, °C", exposed.get("mean_c", nothing), ("value", *_ENDS), 1, 1.0),
        ("Hours above 35 °C", exposed.get("hot_h", nothing), ("value", *_ENDS), 0, 1.0),
        ("Hours above 45 °C", exposed.get("very_hot_h", nothing), ("value", *_ENDS), 0, 1.0),
    ]
    return [
        (what, *cells_of(document, names, digits, scale))
        for what, document, names, digits, scale in numbers
    ]
