"""The sentences of the pages that tell of a site's whole record."""

from datetime import date

from joulebook.core.outlook.exposure import AGEING_PER_C
from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.region.formats import NBSP
from joulebook.web.shown import (
    AMPERE_HOURS,
    KWH,
    KWH_A_YEAR,
    MILLIOHM,
    PERCENT,
    PERCENT_WHOLE,
    WATTS,
    ends_of,
)

_DAYS_PER_YEAR = 365.25


def gave_back(trip: Document, changes: list[Document]) -> str:
    """Return what the battery gave back, since when, or why that is not given."""
    if trip["ratio"] is None:
        return f"What the battery gives back is not given, since {trip['reason']}."
    within = PERCENT.within(trip["low_ratio"], trip["high_ratio"])
    event = next((each for each in changes if each["date"] == trip["from"]), None)
    when = (
        f"from {formats.iso_plain(trip['from'])} to {formats.iso_plain(trip['to'])}"
        if event is None
        else f"since {formats.iso_plain(trip['from'])} (“{event['title']}”)"
    )
    return (
        f"The battery gave back {PERCENT.text(trip['ratio'])} of what went into it"
        f" ({within}), {when}."
    )


def takes_itself(idle: Document) -> str:
    """Return what the inverter takes at idle, and in a year, or why that is not given."""
    if idle["value"] is None:
        return f"What the inverter takes for itself is not given, since {idle['reason']}."
    low, high = ends_of(idle, "value")
    return (
        f"The inverter takes {WATTS.words(idle['value'], low, high)} when it gives nothing:"
        f" {KWH_A_YEAR.words(idle['value'], low, high)} a year."
    )


def stretches_measured(trip: Document) -> str | None:
    """Return what the round trip rests on."""
    if trip["ratio"] is None:
        return None
    share = formats.measured(trip["coverage_ratio"])
    used = trip["inputs"].get("segments_used")
    if used is None:
        return f"Measured: {share} of that time, by the battery's own state of charge at its ends."
    return f"Measured: {share} of that time, in {used} stretches from one full charge to the next."


def analysed(record: Document) -> str:
    """Return up to when the record is analysed, and when newer readings come in."""
    sentence = f"Analysed up to {formats.iso_plain(record['to'])}"
    if record["behind"]:
        return f"{sentence}; newer readings come in within six hours."
    return f"{sentence}."


def holds(wear: Document, rated_ah: float | None) -> str:
    """Return what the battery holds now, or why that cannot be told."""
    if "reason" in wear["record"]:
        return "How much the battery holds cannot be said yet."
    latest = wear["capacity_latest"]
    if latest["ah"] is None:
        return f"How much the battery holds is not given, since {latest['reason']}."
    low, high = ends_of(latest, "ah")
    parts = [AMPERE_HOURS.words(latest["ah"], low, high)]
    energy = wear["energy"]
    if energy["wh"] is not None:
        parts.append(KWH.words(energy["wh"], *ends_of(energy, "wh")))
    sentence = f"The battery holds {', or '.join(parts)}"
    if rated_ah is None:
        return f"{sentence}."
    share = PERCENT_WHOLE.text(latest["ah"] / rated_ah)
    return f"{sentence}: {share} of the {AMPERE_HOURS.text(rated_ah)} that it is rated for."


def lost(wear: Document) -> str | None:
    """Return what has been lost since the record began, and after how many cycles."""
    fade, cycles = wear["fade"], wear["efc"]["total"]
    after = (
        ""
        if cycles is None
        else f" Since the first reading it went through {cycles:.0f} full cycles."
    )
    since = fade.get("since_start")
    low, high = (None, None) if since is None else ends_of(since, "ratio")
    if since is None or low is None or high is None:
        return after.strip() or None
    begins = formats.iso_plain(fade["from"])
    within = PERCENT.within(low, high)
    if since["ratio"] is None:
        return f"Since {begins} it lost {within}: too early for one number.{after}"
    if low < 0 < high:
        return f"Since {begins} it did not measurably lose: {within}.{after}"
    lost_it = since["ratio"] > 0
    within = within if lost_it else PERCENT.within(-high, -low)
    word = "lost" if lost_it else "seems to have gained"
    return f"Since {begins} it {word} {PERCENT.text(abs(since['ratio']))} ({within}).{after}"


def nights_counted(wear: Document) -> str | None:
    """Return how many nights tell the capacity."""
    nights = wear.get("nights")
    if nights is None:
        return None
    counts = sum(each["counting"] for each in nights["years"])
    whole = counts + sum(each["others"] for each in nights["years"])
    return f"Told by {counts} of {whole} nights; the others are listed with the reason."


def of_wear(wear: Document) -> list[str]:
    """Return the sentences below the answer of wear."""
    record = wear["record"]
    told = [lost(wear)]
    if "reason" not in record:
        told += [nights_counted(wear), analysed(record)]
    return [words for words in told if words is not None]


def aged(wear: Document) -> str | None:
    """Return how fast the battery aged by its temperature, against 25 °C."""
    if "exposure" not in wear or wear["exposure"]["thermal_years"]["value"] is None:
        return None
    thermal = wear["exposure"]["thermal_years"]
    first, last = (date.fromisoformat(wear["record"][end]) for end in ("from", "to"))
    seen = ((last - first).days + 1) / _DAYS_PER_YEAR * thermal["coverage_ratio"]
    speed, low, high = (thermal[name] / seen for name in ("value", "low", "high"))
    return (
        f"At the temperatures it had, the battery aged {formats.fixed(speed, 2)} times as fast as"
        f" at a steady 25{NBSP}°C ({formats.interval(low, high, 2)}). Each degree more makes it"
        f" {formats.fixed(AGEING_PER_C * 100, 1)}{NBSP}% faster; ten make it 1.7 times as fast."
    )


def resistance(wear: Document) -> str | None:
    """Return how the resistance went since the record began."""
    found = wear.get("measured", {}).get("resistance_ohm", {"value": None})
    if found["value"] is None:
        return None
    now, first = found["value"], found["at_25_c_first"]
    low, high = ends_of(found, "value")
    within = MILLIOHM.within(low, high)
    then = MILLIOHM.text(first)
    why = "More of it means more heat, and a deeper sag under load."
    if low is not None and high is not None and low <= first <= high:
        return (
            f"Its resistance at 25{NBSP}°C, {MILLIOHM.text(now)} ({within}), has not measurably"
            f" changed since the record began ({then}). {why}"
        )
    word = "risen" if now > first else "fallen"
    return (
        f"Its resistance at 25{NBSP}°C has {word} from {then}, when the record began, to"
        f" {MILLIOHM.text(now)} ({within}). {why}"
    )


def will_hold(wear: Document, rated_ah: float | None) -> str:
    """Return whether the battery will hold what was promised, and how sure that is."""
    terms = wear["warranty"]
    if terms["ends"] is None:
        return f"Whether the battery will hold its warranty is not told, since {terms['reason']}."
    ends = formats.iso_plain(terms["ends"])
    floor = None if terms["floor_ratio"] is None else PERCENT_WHOLE.text(terms["floor_ratio"])
    rated = "its rated charge" if rated_ah is None else f"its rated {AMPERE_HOURS.text(rated_ah)}"
    promise = f"{floor or 'the promised share'} of {rated} until {ends}"
    odds = terms["probability_met"]
    if odds is None:
        return f"Whether it holds {promise} cannot be said yet."
    strength, _, outcome = str(terms["verdict"]).partition(" to ")
    if outcome.endswith(" than not"):
        strength = "more likely than not"
    does = "hold" if outcome.startswith("hold") else "fall short of"
    return (
        f"The battery is {strength} to {does} {promise}. The chance to hold: {formats.odds(odds)}."
    )


def why_no_odds(wear: Document) -> str | None:
    """Return why an analysed record gives no chance, or ``None`` where it gives one."""
    terms = wear["warranty"]
    if "reason" in wear["record"] or terms["probability_met"] is not None:
        return None
    reason = str(terms.get("reason") or terms["verdict"])
    return f"{reason[:1].upper()}{reason[1:]}."


def over_by_energy(terms: Document) -> str | None:
    """Return when the limit of energy ends the warranty, where it does so before its years."""
    band = terms.get("throughput_reached")
    if band is None or band["middle"] == "beyond" or band["middle"] >= terms["ends"]:
        return None
    early, middle = formats.iso_plain(band["early"]), formats.iso_plain(band["middle"])
    late = "later" if band["late"] == "beyond" else formats.iso_plain(band["late"])
    return (
        f"At this use its limit of energy is reached first, about {middle} ({early} to {late}):"
        " from then on it is no longer covered."
    )


def expected(terms: Document) -> str | None:
    """Return the capacity that is expected at the end, or the interval alone."""
    low, high = ends_of(terms, "expected_ratio")
    if low is None:
        return None
    within = PERCENT_WHOLE.within(low, high)
    if terms["expected_ratio"] is None:
        return f"All that can be said of that day: {within} of the rated charge."
    middle = PERCENT_WHOLE.text(terms["expected_ratio"])
    return f"Expected on that day: {middle} of the rated charge ({within})."
