"""Why a home needs somebody, and how it stands beside homes like it, in words."""

from collections.abc import Mapping
from datetime import date

from joulebook.summaries.homes.numbers import Measured, Outlook
from joulebook.summaries.homes.peers import Beside
from joulebook.summaries.homes.reasons import Reason
from joulebook.web.homes.choice import Home
from joulebook.web.region import formats
from joulebook.web.shown import PERCENT, PERCENT_WHOLE, Unit
from joulebook.web.words.home_texts import MISSING

#: A ratio a year.
PERCENT_A_YEAR = Unit(100.0, 1, "% a year")


def sentence_of(home: Home, reason: Reason, *, now_ms: int) -> str:
    """Return a reason as a sentence."""
    if reason.code == "silent":
        return _silent(home, now_ms)
    if reason.code == "checks":
        return f"{_about(reason)}{formats.told(reason.sentence or '')}."
    if reason.sentence is not None:
        return f"{reason.title}: {formats.told(reason.sentence)}."
    if reason.code == "unproven":
        return f"A claim would lack {_list([MISSING[each] for each in reason.missing])}."
    return _of_numbers(home, reason)


def _silent(home: Home, now_ms: int) -> str:
    if home.heard_ms is None:
        return "Nothing was ever heard of it."
    return f"Nothing was heard for {formats.duration((now_ms - home.heard_ms) / 1000)}."


def _about(reason: Reason) -> str:
    device = reason.check[1] if reason.check is not None else None
    return f"{formats.device_label(device)}: " if device else "The whole site: "


def _of_numbers(home: Home, reason: Reason) -> str:
    numbers, peers = home.numbers, home.peers
    assert numbers is not None  # reasons are found with numbers
    outlook = numbers.outlook
    if reason.code == "worse-than-peers":
        assert peers is not None
        return _worse(numbers.capacity, peers.capacity, numbers.fade, peers.fade, reason.about)
    assert outlook is not None
    if reason.code == "capacity-low":
        return (
            f"It holds {PERCENT_WHOLE.text(numbers.capacity.high)} of the rated charge at the "
            f"most; {PERCENT_WHOLE.text(outlook.floor_ratio)} are promised until "
            f"{formats.iso_plain(outlook.ends)}."
        )
    when = formats.iso_plain(outlook.ends)
    if reason.code == "warranty-ends":
        return f"Its warranty ends on {when}: {_months(reason.months)}."
    return (
        f"It will probably not hold until its warranty ends on {when}: the chance is "
        f"{formats.odds(reason.chance or 0.0)}; {_months(reason.months)} to act."
        f"{_crossing(outlook)}"
    )


def _worse(
    capacity: Measured, capacities: Beside, fade: Measured, fades: Beside, about: tuple[str, ...]
) -> str:
    """Return by what a home stands out, after correcting for many looks."""
    parts = []
    if "capacity" in about:
        parts.append(
            f"it holds {PERCENT.text(capacity.value)} of the rated charge, where "
            f"{capacities.peers} homes like it hold {PERCENT.text(capacities.middle)}"
        )
    if "fade" in about:
        parts.append(
            f"it loses {PERCENT_A_YEAR.text(fade.value)}, where {fades.peers} homes like it lose "
            f"{PERCENT_A_YEAR.text(fades.middle)}"
        )
    return f"{formats.capital('; '.join(parts))}."


def _crossing(outlook: Outlook) -> str:
    reached = outlook.floor_reached
    if reached is None or reached == "beyond":
        return ""
    return f" Half of its futures are below the floor by {formats.month_long(_day(reached))}."


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _months(months: int | None) -> str:
    if not months:
        return "less than a month is left"
    return "one month is left" if months == 1 else f"{months} months are left"


def _list(words: list[str]) -> str:
    """Return such as "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def number_words(number: Measured, unit: Unit) -> str:
    """Return a number with its interval, the interval alone, or why neither is given."""
    if number.value is not None:
        return unit.words(number.value, number.low, number.high)
    if number.low is not None:
        return f"only its interval is given: {unit.within(number.low, number.high)}"
    return f"not given: {formats.told(number.reason or '')}"


def peers_words(beside: Beside, unit: Unit) -> str:
    """Return what homes like it have, or why nothing is compared."""
    if beside.reason is not None:
        return f"not compared: {beside.reason}"
    within = unit.within(beside.low, beside.high)
    return f"{beside.peers} homes like it: {unit.text(beside.middle)}, 9 in 10 within {within}"


def lead_of(counts: Mapping[str, int], every: int) -> str:
    """Return the answer in a sentence."""
    if not every:
        return "There is no home yet that you may see."
    now = counts.get("now", 0)
    verb = "needs" if now == 1 else "need"
    lead = f"{now or 'None'} of {_count(every)} {verb if now else 'needs'} someone now."
    waits = [
        words.format(number=number, has="has" if number == 1 else "have")
        for state, words in _WAITS.items()
        if (number := counts.get(state, 0))
    ]
    return f"{lead} {'; '.join(waits)}." if waits else lead


_WAITS = {
    "ahead": "{number} {has} something ahead",
    "lacking": "{number} {has} all but the proof for a claim",
}


def _count(every: int) -> str:
    return f"{every} home{'' if every == 1 else 's'}"
