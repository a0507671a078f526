"""How a week differs from another, in words and as rows of a table."""

from collections.abc import Mapping
from dataclasses import dataclass

from joulebook.core.daily.same_hours import Compared
from joulebook.core.estimate import Estimate
from joulebook.web.region import formats
from joulebook.web.spans.comparisons import Beside
from joulebook.web.spans.weeks import Week
from joulebook.web.words import texts

#: What is said in words: the energy's name, what goes before the amount, and what after it.
_SAID = (
    ("grid_import_wh", "bought", " from the grid"),
    ("load_wh", "used", ""),
    ("pv_wh", "the panels made", ""),
)
#: A share of the time that is not worth a remark.
_MUCH = 0.98
#: An interval narrower than this is written with one decimal more. [Wh]
_NARROW_WH = 200.0

#: What a week stands beside: the week before it, and the one a year before or nearly so.
LAST_WEEK, WEEK_BEFORE = "last week", "the week before"
YEAR_BEFORE, DAYS_BEFORE = "the same week a year before", "the week 364 days before"


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldWeek:
    """A week beside the one that is shown, as the page tells it.

    Attributes
    ----------
    title : str
        "Last week", with its dates.
    other : Week
        Which.
    sentence : str
        The answer, or why there is none.
    measured : str or None
        What share of the time it rests on.
    rows : list of tuple
        Label, here, there, difference, interval and share, in words; empty where it is refused.
    reasons : list of str
        Why single numbers are not compared.
    """

    title: str
    other: Week
    sentence: str
    measured: str | None
    rows: list[tuple[str, str, str, str, str, str]]
    reasons: list[str]


def told_week(beside: Beside, name: str, site: str, *, so_far: bool) -> ToldWeek:
    """Return a comparison as the page tells it; ``name`` is what the other week is called."""
    days = formats.days_between(beside.other.monday, beside.other.sunday)
    title = f"{formats.capital(name)}, {days}"
    hours = f"the same hours of {name}" if so_far else name
    if beside.reason is not None:
        sentence = f"It is not compared with {hours}: {beside.reason}."
        return ToldWeek(
            title=title, other=beside.other, sentence=sentence, measured=None, rows=[], reasons=[]
        )
    given = {
        each: number
        for each, number in beside.numbers.items()
        if number.difference.value is not None
    }
    return ToldWeek(
        title=title,
        other=beside.other,
        sentence=f"Compared with {hours}, {_clauses(given, site)}.",
        measured=_measured(beside.coverage_ratio),
        rows=[_row(each, number) for each, number in given.items()],
        reasons=[
            f"{texts.SHORT_LABELS[each]}: not compared, since {number.difference.reason}"
            for each, number in beside.numbers.items()
            if each not in given
        ],
    )


def _clauses(given: Mapping[str, Compared], site: str) -> str:
    """Return what was bought, used and made more or less."""
    parts = [
        f"{verb} {_more(given[name].difference, after)}"
        for name, verb, after in _SAID
        if name in given
    ]
    if not parts:
        return "what differs stands in the table"
    whose = "" if parts[0].startswith("the panels") else f"the {site} "
    *others, last = parts
    return whose + (f"{', '.join(others)}, and {last}" if others else last)


def _more(difference: Estimate, after: str) -> str:
    value, low, high = _ends(difference)
    if low <= 0 <= high:
        return f"about as much{after} (no measurable difference: {_interval(low, high)})"
    word = "more" if value > 0 else "less"
    near, far = sorted((abs(low), abs(high)))
    return f"{formats.kwh_words(abs(value))} {word}{after} ({_interval(near, far)})"


def _interval(low: float, high: float) -> str:
    digits = 2 if high - low < _NARROW_WH else 1
    return f"{formats.interval(low / 1000, high / 1000, digits)}{formats.NBSP}kWh"


def _row(name: str, number: Compared) -> tuple[str, str, str, str, str, str]:
    value, low, high = _ends(number.difference)
    return (
        texts.SHORT_LABELS[name],
        formats.kwh_cell(number.here_wh),
        formats.kwh_cell(number.there_wh),
        formats.signed(value / 1000, 2),
        formats.interval(low / 1000, high / 1000, 2),
        formats.measured(number.difference.coverage_ratio),
    )


def _measured(coverage_ratio: float) -> str | None:
    if coverage_ratio >= _MUCH:
        return None
    return (
        f"Compared over {formats.measured(coverage_ratio)} of the time: only hours that both weeks "
        "have measured count, here and there."
    )


def _ends(difference: Estimate) -> tuple[float, float, float]:
    """Return value and ends of a difference that is given."""
    value, low, high = difference.value, difference.low, difference.high
    assert value is not None
    assert low is not None
    assert high is not None
    return value, low, high
