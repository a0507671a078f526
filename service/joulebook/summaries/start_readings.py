"""What was read around a start, for the picture of it."""

from contextlib import closing

from joulebook.core.checks.inputs import Readings
from joulebook.core.spans import Span
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.load_readings import LoadReadings


def readings_around(
    database: Database, site: Site, at_ms: int, *, every_s: float
) -> dict[str, Readings]:
    """Return load and legs [W] and the battery's voltage [V] around a start, where they were read.

    Five minutes before and ten after, or twice so many readings where these are far apart.
    """
    step_ms = round(max(60.0, 2 * every_s) * 1000)
    span = Span(at_ms - 5 * step_ms, at_ms + 10 * step_ms)
    with closing(database.connect()) as connection:
        readings = LoadReadings(connection, site)
        found: dict[str, Readings] = {}
        loads = readings.loads(span)
        if loads is not None:
            line, legs = loads
            found["load"] = (line.at_ms, line.value)
            for name, leg in zip(("L1", "L2"), legs or (), strict=False):
                found[name] = (leg.at_ms, leg.value)
        found["voltage"] = readings.battery("voltage", span)
    return {
        name: _inside(each, span) for name, each in found.items() if _inside(each, span)[0].size
    }


def _inside(readings: Readings, span: Span) -> Readings:
    at_ms, value = readings
    kept = (at_ms >= span.start_ms) & (at_ms < span.end_ms)
    return at_ms[kept], value[kept]
