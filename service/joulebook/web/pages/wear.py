"""How worn the battery is: capacity, cycles, heat, its own claims, and every night behind it."""

from collections.abc import Sequence
from dataclasses import replace

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.core.battery.deep_test_plan import CAUTIONS, EVERY_DAYS, steps_of, target_of
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.figures.wear import depth_words
from joulebook.web.pages import nights as every_night
from joulebook.web.pages.records import has_readings, record_page
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
    without_repeats,
)
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.noted import noted_of_record
from joulebook.web.words import record_sentences
from joulebook.web.words.deep_test_sentences import told_test
from joulebook.web.words.record_texts import CLAIMS_NO_EVIDENCE, RECORD_WORKINGS

router = APIRouter(include_in_schema=False)
router.include_router(every_night.router)

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


@router.get("/sites/{site}/wear")
def wear_page(site: Sited, backing: Backed, nights: str | None = None) -> HTMLResponse:
    """Show the page."""
    if not has_readings(backing, site):
        return HTMLResponse(record_page(backing, site, "empty.html", current="wear"))
    wear = backing.analyses.wear(site)
    tests = backing.analyses.deep_tests(site, now_ms=backing.clock_ms())
    latest = wear.get("capacity_latest", {"ah": None})
    reason, refused = latest.get("reason"), latest["ah"] is None
    page = record_page(
        backing,
        site,
        "wear.html",
        current="wear",
        noted=noted_of_record(backing.database, site, wear["record"], now_ms=backing.clock_ms()),
        record=wear["record"],
        lead=record_sentences.holds(wear, site.battery_ah),
        measured=record_sentences.of_wear(wear),
        rows=without_repeats(number_rows(wear), said=reason),
        refused=refused,
        drawn=bool(wear["capacity"]) and not refused,
        fade_sentence=None if "reason" in wear["fade"] else wear["fade"]["sentence"],
        capacity_cautions=wear.get("capacity_cautions", []),
        methods={name: wear[name]["method"] for name in ("efc", "depths")},
        depths=depth_rows(wear["depths"]["bins"]),
        heat=heat_rows(wear),
        aged=record_sentences.aged(wear),
        resistance_sentence=record_sentences.resistance(wear),
        claims_words=CLAIMS_NO_EVIDENCE,
        claims=claim_rows(wear),
        tests=[told_test(each, site.zone) for each in tests][::-1],
        cautions=CAUTIONS,
        steps=_steps(site),
        every_days=EVERY_DAYS,
        workings_of=RECORD_WORKINGS,
        facts=facts_of(wear),
        **every_night.night_lists(backing, site, wear, asked=nights),
    )
    return HTMLResponse(page)


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


def _steps(site: Site) -> tuple[str, ...]:
    """Return what an owner does in a deep test, where rated charge and cells are known."""
    if site.battery_ah is None or site.battery_cells is None:
        return ()
    return steps_of(target_of(site.battery_ah, site.battery_cells))


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
