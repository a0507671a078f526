"""The rows of the page of the warranty, and what is missing for proof."""

from dataclasses import dataclass

from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.setup.facts import LIMITS, words
from joulebook.web.shown import KWH_WHOLE, PERCENT, PERCENT_WHOLE, ends_of

#: What is promised is asked of a record that was measured nearly all of the time.
_MUCH = 0.98

_LEVELS = (5, 10, 50, 90, 95)


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What another climate or use would do."""

    words: str
    middle: str | None
    interval: str
    odds: str | None


@dataclass(frozen=True, slots=True)
class Reached:
    """When a limit is reached: early, in the middle and late, in words."""

    words: str
    early: str
    middle: str
    late: str


def term_rows(terms: Document) -> list[tuple[str, str]]:
    """Return the terms as pairs of a name and words."""
    begins, ends = terms.get("begins"), terms["ends"]
    floor, throughput = terms["floor_ratio"], terms["throughput_wh"]
    return [
        ("First day", "not known" if begins is None else formats.iso_plain(begins)),
        ("Ends on", "not known" if ends is None else formats.iso_plain(ends)),
        (
            "Promised until then",
            "not entered" if floor is None else f"{PERCENT_WHOLE.text(floor)} of the rated charge",
        ),
        (
            "Over earlier, after",
            "no limit was entered" if throughput is None else f"{KWH_WHOLE.text(throughput)} out",
        ),
    ]


def limit_rows(site: Site) -> list[tuple[str, str]]:
    """Return the limits that the terms ask to keep, those that were entered."""
    limits = ((fact, getattr(site, fact.name)) for fact in LIMITS)
    return [(fact.label, words(fact.name, value)) for fact, value in limits if value is not None]


def levels_of(terms: Document) -> list[int]:
    """Return which levels of the fan are shown: no middle where the forecast refuses one."""
    refused = terms.get("expected_ratio") is None
    return [level for level in _LEVELS if level != 50 or not refused]


def fan_rows(terms: Document) -> list[tuple[str, list[str]]]:
    """Return the fan by its dates, whole per cent of the rated charge."""
    return [
        (
            formats.iso_brief(point["date"]),
            [formats.fixed(point[f"p{level}_ratio"] * 100, 1) for level in levels_of(terms)],
        )
        for point in terms.get("fan", [])
    ]


def reached_rows(terms: Document) -> list[Reached]:
    """Return when the floor and the limit of throughput are reached."""
    bands = (
        ("It falls below the floor", terms.get("floor_reached")),
        ("The energy limit is reached", terms.get("throughput_reached")),
    )
    return [
        Reached(words, *(_reached(band[end]) for end in ("early", "middle", "late")))
        for words, band in bands
        if band is not None
    ]


def _reached(at: str) -> str:
    if at == "beyond":
        return "not within 15 years"
    return formats.iso_brief(at).replace(formats.NBSP, " ")  # three to a row of 320 px


def what_if_rows(wear: Document) -> list[WhatIf]:
    """Return the forecast as it is, and with another climate or use."""
    if "what_if" not in wear or not wear["warranty"].get("fan"):
        return []
    as_is = _what_if("As it is", wear["warranty"])
    return [as_is, *(_what_if(_change(each), each) for each in wear["what_if"])]


def _change(each: Document) -> str:
    cooler_c, use_ratio = each["cooler_c"], each["use_ratio"]
    if cooler_c:
        word = "cooler" if cooler_c > 0 else "warmer"
        return f"{abs(cooler_c):.0f}{formats.NBSP}°C {word}"
    return (
        f"{abs(1 - use_ratio) * 100:.0f}{formats.NBSP}% {'less' if use_ratio < 1 else 'more'} use"
    )


def _what_if(words: str, found: Document) -> WhatIf:
    low, high = ends_of(found, "expected_ratio")
    middle, odds = found["expected_ratio"], found["probability_met"]
    return WhatIf(
        words,
        None if middle is None else PERCENT.text(middle),
        PERCENT.interval(low, high),
        None if odds is None else formats.odds(odds),
    )


def missing_for_proof(wear: Document, site: Site) -> list[str]:
    """Return what stands between these readings and a claim, one sentence each."""
    terms, record = wear["warranty"], wear["record"]
    missing = ["Not all of the terms were entered; see above."] if terms.get("assumed") else []
    if site.warranty_throughput_wh is None:
        missing.append("No limit of energy was entered; if your terms have one, enter it.")
    if "reason" in record:
        return [*missing, f"The record is not analysed: {record['reason']}."]
    latest = wear["capacity_latest"]
    if latest["ah"] is None:
        missing.append(f"No capacity is measured: {latest['reason']}.")
    if terms["begins"] < record["from"]:
        missing.append(
            f"The readings begin on {formats.iso_plain(record['from'])}, the warranty on"
            f" {formats.iso_plain(terms['begins'])}: what happened between is not recorded."
        )
    coverage = terms["coverage_ratio"]
    if coverage < _MUCH:
        missing.append(
            f"Temperature and current are both known for {formats.measured(coverage)} of the time."
        )
    missing += wear["capacity_cautions"]
    return missing


def facts_of(wear: Document) -> list[tuple[str, str]]:
    """Return what the odds rest on, as pairs of a name and words."""
    terms = wear["warranty"]
    facts = []
    if terms.get("coverage_ratio") is not None:
        share = formats.measured(terms["coverage_ratio"])
        facts.append(("Measured", f"{share} of the time, with both temperature and current"))
    if "fit" in wear:
        lows = wear["measured"]["evidence"]["lows"]
        facts.append(("Rests on", f"the capacity's fit over {lows} low points"))
    return facts
