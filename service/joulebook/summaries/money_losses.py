"""What losses and the inverter's own draw cost a year, for the efficiency page."""

from contextlib import closing

from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.storage.tariffs import in_force, tariffs_of
from joulebook.summaries.money_numbers import amount, energy
from joulebook.summaries.numbers import Document, dates_of
from joulebook.summaries.priced_time import PricedTime, idle, known_part, last_year, losses


def cost_of_losses(
    database: Database, site: Site, efficiency: Document, *, now_ms: int
) -> Document | None:
    """Return what losses and idle draw cost in the last twelve months.

    Parameters
    ----------
    efficiency : Document
        The site's efficiency report, whose ``idle_w`` is priced.
    now_ms : int
        Now. [ms, UTC epoch]

    Returns
    -------
    Document or None
        ``currency``, ``from`` and ``to``; ``losses_wh`` with ``wh``, ``losses`` and ``idle_year``
        (8,760 hours of it) with ``amount``, each with its interval as ``low_…`` and ``high_…``,
        coverage, method and reason. ``None`` for a site without a tariff.
    """
    with closing(database.connect()) as connection:
        tariffs = in_force(tariffs_of(connection, site.id))
    if not tariffs:  # a year of energies need not be read
        return None
    span = known_part(database, site, last_year(site, now_ms=now_ms))
    common = PricedTime(database, site, span).common(span)
    lost_wh, lost = losses(common)
    return {
        "currency": tariffs[-1].currency,
        **dates_of(span, site.zone),
        "losses_wh": energy(lost_wh),
        "losses": amount(lost),
        "idle_year": amount(idle(common, efficiency)),
    }
