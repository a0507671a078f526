"""The six answers of the letter, a line each: the answer, the number with its interval."""

from collections.abc import Iterator, Sequence

from joulebook.core.daily.days import DayResult
from joulebook.summaries.numbers import Document

#: Question, answer, and the page of its working below the site's address.
AnswerLine = tuple[str, str, str]


def answer_lines(
    days: Sequence[DayResult],
    *,
    checks: Document,
    efficiency: Document,
    loads: Document,
    wear: Document,
) -> Iterator[AnswerLine]:
    """Yield the six lines.

    Parameters
    ----------
    days : sequence of DayResult
        Of the seven days, those that have one.
    checks, efficiency, loads, wear : Document
        The site's reports.
    """
    yield "Is it wired and talking right?", _wired(checks), "/checks"
    yield "What happened this week?", _happened(days), ""
    yield "How efficient is it?", _efficient(efficiency), "/efficiency"
    yield "What can it carry?", _carries(loads), "/carry"
    yield "How worn is it?", _worn(wear), "/wear"
    yield "Will it hold until the warranty ends?", _holds(wear), "/warranty"


def _wired(checks: Document) -> str:
    found = checks["checks"]
    trouble = [each for each in found if each["verdict"] == "trouble"]
    good = sum(each["verdict"] == "good" for each in found)
    if not found:
        return f"Not known: {checks.get('reason', 'the readings are too few')}."
    if not trouble:
        return f"{good} checks found nothing wrong."
    more = f", and {len(trouble) - 1} more" if len(trouble) > 1 else ""
    return f"{len(trouble)} to look at: {trouble[0]['sentence']}{more}."


def _happened(days: Sequence[DayResult]) -> str:
    measured = sum(day.coverage_ratio for day in days) / 7
    words = {
        "pv_wh": "made",
        "load_wh": "used",
        "grid_import_wh": "bought",
        "grid_export_wh": "sold",
        "loss_wh": "lost",
    }
    parts = []
    for name, word in words.items():
        values = [value for day in days if (value := day.numbers[name].value) is not None]
        if values:
            parts.append(f"{word} {sum(values) / 1000:.1f}")
    if not parts:
        return "Nothing was measured."
    return f"kWh {', '.join(parts)}; {100 * measured:.0f} % of the week was measured."


def _efficient(efficiency: Document) -> str:
    trip, idle = efficiency["round_trip"], efficiency["idle_w"]
    gave = (
        f"The round trip is not given, since {trip['reason']}."
        if trip["ratio"] is None
        else f"It gives back {100 * trip['ratio']:.1f} % "
        f"({100 * trip['low_ratio']:.1f} to {100 * trip['high_ratio']:.1f})."
    )
    if idle["value"] is None:
        return gave
    return (
        f"{gave} The inverter takes {idle['value']:.0f} W "
        f"({idle['low']:.0f} to {idle['high']:.0f}) for itself."
    )


def _carries(loads: Document) -> str:
    """Return how long it lasts at the load of a usual night, down to empty."""
    hours = [
        each
        for each in loads.get("hours", [])
        if (each["load"], each["until"]) == ("night", "empty")
    ]
    if not hours:
        reason = loads.get("hours_reason") or loads.get("reason") or "nothing was measured"
        return f"Hours left are not given, since {reason}."
    night = hours[0]
    if night["value"] is None:
        return f"Hours left are not given, since {night['reason']}."
    return (
        f"As full as it is now, {night['value']:.0f} hours of a usual night "
        f"({night['low']:.0f} to {night['high']:.0f})."
    )


def _worn(wear: Document) -> str:
    cycles = wear["efc"]["total"]
    after = "" if cycles is None else f" after {cycles:.0f} full cycles"
    latest = wear.get("capacity_latest", {"ah": None, "reason": wear.get("capacity_reason")})
    if latest["ah"] is None:
        return f"What it holds is not given{after}, since {latest['reason']}."
    low, high = latest["low_ah"], latest["high_ah"]
    return f"It holds {latest['ah']:.0f} Ah ({low:.0f} to {high:.0f}){after}."


def _holds(wear: Document) -> str:
    terms = wear["warranty"]
    if terms["probability_met"] is None:
        return f"Not known, since {terms['reason']}."
    chance = min(max(round(100 * terms["probability_met"]), 1), 99)
    return (
        f"{terms['verdict'][:1].upper()}{terms['verdict'][1:]}: {chance} of 100 futures hold "
        f"{100 * terms['floor_ratio']:.0f} % until {terms['ends']}."
    )
