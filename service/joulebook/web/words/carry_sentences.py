"""Sentences about what a site can carry, from the loads document."""

from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.shown import MILLIOHM, WATTS, Unit

_HOURS = Unit(1.0, 1, "hours")
_VOLTS = Unit(1.0, 1, "V")
_CELL_VOLTS = Unit(1.0, 3, "V")
_CARRIED = {
    "yes": "the house went on",
    "in part": "the house went on for a part of it",
    "no": "the house went dark",
    "unknown": "how the house came through was not measured",
}


def carry_sentence(loads: Document) -> str:
    """Return the answer: how long the battery lasts now, and over a usual night."""
    hours = {each["load"]: each for each in loads["hours"] if each["until"] == "empty"}
    known = {name: each for name, each in hours.items() if each["value"] is not None}
    if not known:
        reason = loads.get("hours_reason") or hours["now"]["reason"]
        return f"How long the battery lasts cannot be told: {reason}."
    parts = []
    if "now" in known:
        watts = WATTS.text(loads["load_now"]["value"])
        parts.append(f"at the load of now, {watts}, the battery lasts {_lasting(known['now'])}")
    if "night" in known:
        watts = WATTS.text(loads["night_load"]["value"])
        parts.append(f"at that of a usual night, {watts}, {_lasting(known['night'])}")
    return formats.capital("; ".join(parts)) + "."


def starts_sentence(starts: Document) -> str:
    """Return the largest starts in a sentence."""
    if "reason" in starts:
        return f"The largest starts cannot be told: {starts['reason']}."
    dates = formats.iso_plain(starts["from"]), formats.iso_plain(starts["to"])
    within = f"from {dates[0]} to {dates[1]}"
    highest = WATTS.text(starts["highest_load_w"]["value"])
    if not starts["list"]:
        return f"Nothing of 200{formats.NBSP}W or more was switched on {within}."
    largest = WATTS.text(starts["list"][0]["step_w"]["value"])
    return f"The largest start {within} was {largest}; the load reached {highest} at least."


def start_title(start: Document) -> str:
    """Return what a kind of start is called."""
    count = start["count"]
    seen = "once" if count == 1 else f"{count} times"
    return f"{WATTS.text(start['step_w']['value'])}, seen {seen}"


def start_facts(start: Document) -> list[tuple[str, str]]:
    """Return what is known of a kind of start by its largest, as pairs of a name and words."""
    facts = [
        ("Its largest", formats.iso_brief(start["at"]) + ", " + start["at"][11:16]),
        ("Peak", _at_least(start["peak_w"])),
    ]
    for leg in start["legs"]:
        words = f"{WATTS.text(leg['step_w']['value'])} more, {_at_least(leg['peak_w'])}"
        facts.append((f"On {leg['leg']}", words))
    facts += [
        ("Stayed high", _stayed(start["high_s"])),
        ("Battery fell", _fell(start)),
        ("Per ampere", _or_reason(start["sag_ohm"], MILLIOHM)),
        ("Lowest cell", _or_reason(start["lowest_cell_v"], _CELL_VOLTS)),
        ("Rating leaves", _room(start["headroom_w"])),
    ]
    if start["peak_headroom_w"]["value"] is not None:
        facts.append(("For seconds", _room(start["peak_headroom_w"])))
    for leg in start["legs"]:
        if leg["headroom_w"]["value"] is not None:
            facts.append((f"Leaves on {leg['leg']}", _room(leg["headroom_w"])))
    return facts


def outage_words(outage: Document) -> tuple[str, str, str, str]:
    """Return an outage as a row: when, how long, how the house came through, the battery."""
    when = f"{formats.iso_brief(outage['began'])}, {outage['began'][11:16]}"
    length = outage["length_s"]
    long = formats.duration(length["value"])
    if outage["ended"] is None:
        long += " up to the last reading"
    elif length["high"] is not None:
        long += f" ({formats.duration(length['low'])} to {formats.duration(length['high'])})"
    given = outage["given_wh"]["value"]
    came = _CARRIED[outage["carried"]]
    if given is not None:
        came += f", on {formats.kwh_words(given)}"
    return when, long, came, _or_reason(outage["lowest_v"], _VOLTS)


def _lasting(hours: Document) -> str:
    return _HOURS.words(hours["value"], hours["low"], hours["high"])


def _at_least(number: Document) -> str:
    if number["value"] is None:
        return f"not given: {number['reason']}"
    return f"{WATTS.text(number['value'])} at least"


def _room(number: Document) -> str:
    if number["value"] is None:
        return f"not given: {number['reason']}"
    if number["value"] < 0:
        return f"nothing: it was exceeded by {WATTS.text(-number['value'])}"
    return f"{WATTS.text(number['value'])} at most"


def _stayed(high: Document) -> str:
    seen = formats.duration(high["low"])
    if high["at_least"]:
        return f"{seen} at least"
    return f"{seen} to {formats.duration(high['high'])}"


def _fell(start: Document) -> str:
    fell = start["sag_v"]
    if fell["value"] is None:
        return f"not given: {fell['reason']}"
    lowest = _VOLTS.text(start["lowest_v"]["value"])
    return f"by {Unit(1.0, 2, 'V').words(fell['value'], fell['low'], fell['high'])}, to {lowest}"


def _or_reason(number: Document, unit: Unit) -> str:
    if number["value"] is None:
        return f"not given: {number['reason']}"
    return unit.words(number["value"], number["low"], number["high"])
