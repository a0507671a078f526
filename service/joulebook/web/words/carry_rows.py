"""The rows of the page of what a site can carry."""

from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.shown import KWH, WATTS, Shown, Unit, shown

_HOURS = Unit(1.0, 1, "h")

_AT = {"now": "At the load of now", "night": "At that of a usual night"}

_UNTIL = {"empty": "until empty", "a tenth": "until a tenth is left"}


def hour_rows(loads: Document) -> list[Shown]:
    """Return how long what is left lasts, at each load and down to each level."""
    return [
        shown(_AT[each["load"]], each, "value", _HOURS, note=_UNTIL[each["until"]])
        for each in loads["hours"]
    ]


def held_rows(loads: Document) -> list[Shown]:
    """Return what the hours are made of."""
    holds, left = loads["usable"], loads["left"]
    return [
        shown(
            *("The battery holds", holds, "wh", KWH),
            note="from full to empty" if holds["measured"] else "as rated, not measured",
        ),
        shown("Left, by what was drawn since full", left["ours"], "wh", KWH),
        shown("Left, by its own claim", left["claim"], "wh", KWH, note="no evidence"),
        shown("Load of now", loads["load_now"], "value", WATTS, note="last 15 minutes"),
        shown("Load of a usual night", loads["night_load"], "value", WATTS, note="while dark"),
    ]


def rated(site: Site) -> str | None:
    """Return what the inverter is rated for, in words."""
    if site.inverter_w is None:
        return None
    peak = site.inverter_peak_w
    return WATTS.text(site.inverter_w) + (
        "" if peak is None else f", and {WATTS.text(peak)} for some seconds"
    )
