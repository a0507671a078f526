"""All that readers see of a site, to be compared with what they see of it in another database."""

from contextlib import closing
from typing import Any

from joulebook.core.spans import Span
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Connection, Database
from joulebook.storage.days import day_results, dirty_days
from joulebook.storage.quarantine import quarantined, set_aside
from joulebook.storage.quarters import read_quarters
from joulebook.storage.reading import latest_readings, read_series
from joulebook.storage.record_results import record_result
from joulebook.storage.records import Site
from joulebook.storage.said import said_of
from joulebook.storage.seal_links import links_of
from joulebook.storage.series import series_of
from tests.helpers.moved_sites import NAME
from tests.helpers.sealed import DAY_MS, MONDAY_MS

WHOLE = Span(MONDAY_MS - 30 * DAY_MS, MONDAY_MS + 30 * DAY_MS)


def seen(database: Database) -> dict[str, Any]:
    """Return all that readers see of the studio, with no number of a row in it."""
    site = site_named(database, NAME)
    with closing(database.connect()) as connection:
        return _seen(connection, site)


def _seen(connection: Connection, site: Site) -> dict[str, Any]:
    found: dict[str, Any] = {"series": [], "readings": {}, "quarters": {}}
    for one in series_of(connection, site.id):
        found["series"].append((one.device, one.quantity, one.unit, one.kind, one.slot))
        block, damaged = read_series(connection, [one], WHOLE)
        assert damaged == ()
        column = block.columns[one.id]
        there = column.present()
        values = column.values[there].tolist()
        found["readings"][one.device, one.quantity] = (block.at_ms[there].tolist(), repr(values))
    for device in ("battery", "inverter"):
        quarters = read_quarters(connection, site.id, device, WHOLE)
        found["quarters"][device] = {
            name: (one.mean.tobytes(), one.count.tobytes(), one.last.tobytes())
            for name, one in quarters.quantities.items()
        }
    said = said_of(connection, site)
    found["said"] = repr(
        [
            *(said.facts, said.alerts, said.tariffs, said.timezone),
            *(
                unnumbered(one)
                for one in (*said.events, *said.corrections, *said.deep_tests, *said.sign_offs)
            ),
        ]
    )
    titles = {one.id: one.title for one in said.events}
    found["photos"] = [
        (titles[one.event], one.caption, one.made_ms, one.jpeg) for one in said.photos
    ]
    found["days"] = day_results(connection, site.id, None, None)
    found["dirty"] = sorted(one.day for one in dirty_days(connection) if one.site_id == site.id)
    found["links"] = list(links_of(connection, site.id))
    found["newest"] = [
        (one.series.device, one.series.quantity, one.at_ms, one.value)
        for one in latest_readings(connection, site.id)
    ]
    found["results"] = [
        (result.method, result.computed_ms, result.result, result.behind)
        for name in ("record", "checks")
        if (result := record_result(connection, site.id, name))
    ]
    found["set aside"] = [
        (one.reason, one.kept, one.let_go) for one in set_aside(connection, site.id)
    ]
    found["messages"] = [
        (one.refused.payload, one.times_seen) for one in quarantined(connection, site.id)
    ]
    return found


def unnumbered(said: Any) -> str:
    """Return something said without its number."""
    return repr({name: getattr(said, name) for name in said.__slots__ if name != "id"})
