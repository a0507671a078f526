"""What a correction does, said before it is made."""

from collections.abc import Sequence

import numpy as np

from joulebook.core.corrections import Correction, CorrectionKind, apply
from joulebook.storage.records import Latest, Site
from joulebook.web.region import formats

_MINUS = "\N{MINUS SIGN}"
_UNITS = {"Cel": "°C", "/": ""}

LABELS = {
    "series": "Which readings",
    "kind": "What to do with them",
    "value": "Factor or amount",
    "from": "From",
    "to": "Up to",
    "note": "Why",
}
#: Each kind, as the form offers it.
KIND_WORDS: dict[CorrectionKind, str] = {
    "sign": "Turn around: plus reads minus, and minus plus",
    "scale": "Multiply by a factor",
    "offset": "Add an amount",
    "exclude": "Leave out: it counts as missing",
}


def what_it_does(correction: Correction, unit: str, site: Site) -> str:
    """Return a correction as a sentence, such as "Readings of load power are turned around …"."""
    number = "" if correction.value is None else f"{correction.value:.10g}"
    amount = f"{number}{formats.NBSP}{_UNITS.get(unit, unit)}".rstrip(formats.NBSP)
    done = {
        "sign": "are turned around",
        "scale": f"are multiplied by {number}",
        "offset": f"have {amount} added to them",
        "exclude": "are left out and count as missing",
    }[correction.kind]
    series = f"{correction.device} {correction.quantity}"
    return f"{span_words(correction, site)} of {series} {done.replace('-', _MINUS)}."


def span_words(correction: Correction, site: Site) -> str:
    """Return which readings a correction concerns."""
    begin, end = (
        None if at_ms is None else formats.moment(at_ms, site.zone)
        for at_ms in (correction.from_ms, correction.to_ms)
    )
    if begin and end:
        return f"Readings from {begin} up to {end}"
    if begin:
        return f"Readings from {begin} on"
    return f"Readings up to {end}" if end else "All readings"


def example(
    wanted: Correction, there: Sequence[Correction], newest: Sequence[Latest]
) -> str | None:
    """Return what becomes of the newest reading, or ``None`` where there is none.

    Parameters
    ----------
    there : sequence of Correction
        Those in force already: they act first.
    newest : sequence of Latest
        The newest reading of each series of the site.
    """
    for latest in newest:
        series = latest.series
        if (series.device, series.quantity) != (wanted.device, wanted.quantity):
            continue
        if not _concerns(wanted, latest.at_ms):
            return "The newest reading is not among them."
        at_ms, value = np.array([latest.at_ms]), np.array([float(latest.value)])
        now, then = (
            float(apply(each, series.device, series.quantity, at_ms, value)[0])
            for each in (there, [*there, wanted])
        )
        read, counts, will = (
            "missing" if np.isnan(each) else formats.value_text(each, series.unit, series.quantity)
            for each in (float(value[0]), now, then)
        )
        before = "" if counts == read else f" and counted as {counts} so far"
        return f"The newest reading, {read}{before}, would count as {will}."
    return None


def _concerns(correction: Correction, at_ms: int) -> bool:
    begins, ends = correction.from_ms, correction.to_ms
    return (begins is None or begins <= at_ms) and (ends is None or at_ms < ends)


def days_words(days: int) -> str:
    """Return how many days are computed anew."""
    if not days:
        return "No day is concerned."
    return f"{days} day{'' if days == 1 else 's'} {'is' if days == 1 else 'are'} computed anew."
