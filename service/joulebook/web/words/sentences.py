"""The sentence that a page begins with: the answer, in words."""

from collections.abc import Mapping, Sequence
from datetime import date

from joulebook.core.estimate import Estimate
from joulebook.storage.records import Site
from joulebook.web.region import formats
from joulebook.web.spans.months import Month
from joulebook.web.spans.weeks import Week

#: A share of the time that is not worth a remark.
_MUCH = 0.98


def energy_sentence(when: str, site: str, numbers: Mapping[str, Estimate]) -> str:
    """Return what was made, used and lost, saying of each that is not given that it is not.

    Parameters
    ----------
    when : str
        How the sentence begins: "This week", "Today", "On this day".
    site : str
        The site's name.
    numbers : mapping of field name to Estimate
        With ``pv_wh``, ``load_wh`` and ``loss_wh``. [Wh]
    """
    made, used, lost = (_wh(numbers, name) for name in ("pv_wh", "load_wh", "loss_wh"))
    if made is None and used is None:
        return f"{when}, neither what the panels made nor what the {site} used was measured."
    parts = [
        f"{when} the panels made {formats.kwh_words(made)}"
        if made is not None
        else f"{when} nothing is known of the panels",
        f"the {site} used {formats.kwh_words(used)}"
        if used is not None
        else f"what the {site} used was not measured",
    ]
    sentence = " and ".join(parts)
    if lost is None:
        return f"{sentence}. What was lost on the way is not given."
    if lost < 0:
        return f"{sentence}; the meters disagree by {formats.kwh_words(-lost)}."
    # A loss needs all meters at once, so that it may be known for less of the time.
    shorter = numbers["loss_wh"].coverage_ratio < _MUCH * _coverage(numbers)
    part = formats.measured(numbers["loss_wh"].coverage_ratio)
    within = f", as far as is known, for {part} of the time" if shorter else ""
    return f"{sentence}; {formats.kwh_words(lost)} were lost on the way{within}."


def measured_sentence(coverage_ratio: float, *, so_far: bool) -> str:
    """Return how much of the time was measured."""
    time = "the time so far" if so_far else "the time"
    sentence = f"Measured: {formats.measured(coverage_ratio)} of {time}."
    if coverage_ratio < _MUCH:
        return f"{sentence} What was not measured is not in these numbers."
    return sentence


def round_trip_sentence(month: str, number: Estimate) -> str:
    """Return what the battery gave back in a month, or why that is not given."""
    if number.value is None:
        return f"{month}: what the battery gave back is not given, since {number.reason}."
    return (
        f"In {month} the battery gave back {formats.percent(number.value)} of what went into it"
        f" ({formats.percent_interval(number.low, number.high)}{formats.NBSP}%)."
    )


def _coverage(numbers: Mapping[str, Estimate]) -> float:
    return max(numbers[name].coverage_ratio for name in ("pv_wh", "load_wh"))


def _wh(numbers: Mapping[str, Estimate], name: str) -> float | None:
    number = numbers.get(name)
    return None if number is None else number.value


def lead_of_months(site: Site, months: Sequence[Month]) -> list[str]:
    """Return the sentences that the page begins with: the last full month, or what there is."""
    if not months:
        return ["No day has been summed up yet."]
    full = [month for month in months if not month.so_far]
    month = full[-1] if full else months[-1]
    when = f"In {month.name}" if full else f"In {month.name} so far"
    return [
        energy_sentence(when, site.name, month.totals),
        round_trip_sentence(month.name, month.round_trip),
        measured_sentence(month.coverage_ratio, so_far=not full),
    ]


def week_begins(*, so_far: bool) -> str:
    """Return how the sentence of a week begins."""
    return "This week" if so_far else "In this week"


def day_begins(*, so_far: bool) -> str:
    """Return how the sentence of a day begins."""
    return "Today" if so_far else "On this day"


def day_window(day: date, *, so_far: bool) -> str:
    """Return from when to when a day's numbers are."""
    return f"{formats.day_plain(day)}, from local midnight to {'now' if so_far else 'midnight'}"


def week_title(week: Week, *, so_far: bool) -> str:
    """Return what a week's page is called."""
    return ("This week, " if so_far else "") + formats.days_between(week.monday, week.sunday)


def week_window(week: Week, *, so_far: bool) -> str:
    """Return from when to when a week's numbers are."""
    days = formats.days_between(week.monday, week.sunday)
    return f"{days}, local midnight to midnight{', up to now' if so_far else ''}"
