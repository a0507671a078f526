"""Two local days of a site compared over the hours in which both were measured."""

from datetime import date

from joulebook.core.daily.same_hours import Powers, Shared, shared_of_days
from joulebook.core.powers import POWER_RECIPES, SeriesSources
from joulebook.core.spans import Span, local_day, same_clock
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection
from joulebook.storage.records import Site
from joulebook.summaries.stretches import part_of, read_corrected, series_names

_NEEDED = tuple(
    dict.fromkeys(
        name for recipes in POWER_RECIPES.values() for recipe in recipes for name in recipe.needs
    )
)


def shared_days(
    connection: Connection, site: Site, here: date, there: date, *, max_gap_s: float
) -> dict[str, Shared]:
    """Return the energies of two local days, corrected, over what both have measured.

    Parameters
    ----------
    here, there : date
        The day that is looked at, and the one beside it.
    max_gap_s : float
        No line between two readings bridges more. [s]
    """
    return shared_of_days(
        powers_of_day(connection, site, here, max_gap_s=max_gap_s),
        powers_of_day(connection, site, there, max_gap_s=max_gap_s),
        same_clock(here, there, site.zone),
    )


def powers_of_day(connection: Connection, site: Site, day: date, *, max_gap_s: float) -> Powers:
    """Return the powers of a local day by device kind, as its result is made of."""
    span, margin_ms = local_day(day, site.zone), round(max_gap_s * 1000)
    corrections = corrections_of(connection, site.id)
    names = series_names(connection, site)
    devices = {
        device: part_of(
            read_corrected(
                *(connection, site, device, span, corrections),
                margin_ms=margin_ms,
                quantities=_NEEDED,
            ),
            Span(span.start_ms - margin_ms, span.end_ms + margin_ms),
        )
        for device, quantities in names.items()
        if quantities.intersection(_NEEDED)
    }
    sources = SeriesSources(devices, names, limit_s=max_gap_s)
    return {kind: sources.power(kind).line for kind in POWER_RECIPES}
