"""The rows of the page of wear, and what its numbers rest on."""

from collections.abc import Sequence
from dataclasses import replace

from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.shown import (
    AMPERE_HOURS,
    CELSIUS,
    CYCLES,
    HOURS,
    KWH,
    KWH_WHOLE,
    MILLIOHM,
    PERCENT,
    POINTS,
    Shown,
    shown,
)

_HEAT = (
    ("mean_c", "Mean temperature", CELSIUS),
    ("hot_h", f"Above 35{formats.NBSP}°C", HOURS),
    ("very_hot_h", f"Above 45{formats.NBSP}°C", HOURS),
    ("cold_charging_h", f"Charging below 5{formats.NBSP}°C", HOURS),
    ("freezing_charging_h", f"Charging below 0{formats.NBSP}°C", HOURS),
    ("high_voltage_h", f"At 3.40{formats.NBSP}V a cell or more", HOURS),
    ("nearly_full_h", "Nearly full", HOURS),
)

_WITHOUT_INTERVAL = frozenset({"high_voltage_h", "nearly_full_h"})


def number_rows(wear: Document) -> list[Shown]:
    """Return the rows of the first table."""
    rows = []
    if "capacity_latest" in wear:
        latest, fade = wear["capacity_latest"], wear["fade"]
        rows = [
            shown("Capacity", latest, "ah", AMPERE_HOURS),
            shown("Usable energy", wear["energy"], "wh", KWH),
            shown("Health", latest["health"], "ratio", PERCENT, note="of the first 90 days"),
            shown("Lost since the start", fade["since_start"], "ratio", PERCENT),
            shown("Fade", fade, "ratio_per_year", PERCENT, note="a year"),
        ]
    rows.append(shown("Full cycles", wear["efc"], "total", CYCLES, note="equivalent"))
    for name, label in (("charge_wh", "Into the battery"), ("discharge_wh", "Out of it")):
        rows.append(shown(label, wear["throughput"][name], "total", KWH_WHOLE))
    if "measured" in wear:
        note = f"now, at 25{formats.NBSP}°C"
        rows.append(
            shown("Resistance", wear["measured"]["resistance_ohm"], "value", MILLIOHM, note=note)
        )
    return rows


def depth_rows(bins: Sequence[Document]) -> list[tuple[str, float]]:
    """Return how many cycles were how deep; nothing where no swing was counted."""
    if not any(each["count"] for each in bins):
        return []
    return [(depth_words(each), each["count"]) for each in bins]


def heat_rows(wear: Document) -> list[Shown]:
    """Return the rows of what the battery was exposed to."""
    if "exposure" not in wear:
        return []
    rows = {
        name: shown(label, wear["exposure"][name], "value", unit) for name, label, unit in _HEAT
    }
    # Their ends are the value itself: how far a voltmeter may be off is not in them.
    return [
        replace(row, interval=None) if name in _WITHOUT_INTERVAL and row.value is not None else row
        for name, row in rows.items()
    ]


def claim_rows(wear: Document) -> list[tuple[str, str, str, str]]:
    """Return what the battery claims, what we measured, and by how much it claims more."""
    claims = wear.get("claims_compared")
    if claims is None:
        return []
    rows = []
    if claims["soh_ratio"] is not None:
        ours = claims["soh_less_ours"]
        rows.append(
            (
                "State of health",
                PERCENT.text(claims["soh_ratio"]),
                formats.NOTHING if ours is None else PERCENT.text(claims["soh_ratio"] - ours),
                _more(ours),
            )
        )
    if claims["lows"]:
        rows.append(
            (
                f"State of charge at {claims['lows']} low points",
                PERCENT.text(claims["soc_at_low_ratio"]),
                PERCENT.text(claims["x_low"]),
                _more(claims["soc_less_ours"]),
            )
        )
    return rows


def _more(difference: float | None) -> str:
    if difference is None:
        return formats.NOTHING
    return POINTS.signed(difference)


def facts_of(wear: Document) -> dict[str, list[tuple[str, str]]]:
    """Return what each number was computed from, as pairs of a name and words."""
    facts: dict[str, list[tuple[str, str]]] = {
        name: [] for name in ("capacity", "energy", "fade", "resistance")
    }
    if "fit" not in wear:
        return facts
    fit, energy, measured = wear["fit"], wear["energy"], wear["measured"]
    unknowns = fit["unknowns"]
    facts["capacity"] = [
        (
            "Rests on",
            f"{fit['lows']:.0f} low points and {fit['closings']:.0f} stretches from full to full"
            f" (weighed); {fit['left_out']} left out as too far off",
        ),
        (
            "Found beside it",
            f"lost of the charge put in: {_part(unknowns['loss'])}; for each degree below"
            f" 25 °C, full lacks {_part(unknowns['full_cold'])} and low"
            f" {_part(unknowns['low_cold'])} (standard uncertainties)",
        ),
        *(("Caution", words) for words in (*wear["capacity_cautions"], *measured["flags"])),
    ]
    both = (energy["by_curve_wh"], energy["by_meter_wh"])
    facts["energy"] = [("What is meant", energy["definition"])]
    if None not in both:
        by_curve, by_meter = (KWH.text(each) for each in both)
        facts["energy"].append(
            ("Two ways", f"by capacity and voltage {by_curve}, counted on the way down {by_meter}")
        )
    fade = wear["fade"]
    ends = (formats.iso_plain(fade[end]) for end in ("from", "to"))
    facts["fade"] = [("Time", " to ".join(ends)), ("In words", fade["sentence"])]
    facts["resistance"] = _resistance_facts(measured["resistance_ohm"])
    return facts


def _part(unknown: Document) -> str:
    value, u = (formats.fixed(unknown[name] * 100, 2) for name in ("value", "u"))
    return f"{value} ± {u} %"


def _resistance_facts(found: Document) -> list[tuple[str, str]]:
    if "steps" not in found:
        return []
    coldest, warmest = found["span_c"]
    return [
        ("Told by", f"{found['steps']} steps, at {coldest:.0f} to {warmest:.0f} °C"),
        (
            "Then and in the cold",
            f"{MILLIOHM.text(found['at_25_c_first'])} when the record began,"
            f" {MILLIOHM.text(found['at_5_c'])} at 5 °C",
        ),
    ]


def depth_words(each: Document) -> str:
    """Return a band of depths, such as "10 to 20 %" with a dash."""
    return f"{formats.interval(each['from_ratio'] * 100, each['to_ratio'] * 100, 0)}{formats.NBSP}%"
