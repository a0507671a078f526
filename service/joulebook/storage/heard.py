"""When each device of a site was heard first and last."""

from joulebook.core.spans import Span
from joulebook.storage.connections import Connection
from joulebook.storage.faults import names_faults


@names_faults
def heard_spans(connection: Connection, site_id: int) -> dict[str, Span]:
    """Return the span from each device's first reading to 1 ms after its last, by its name.

    A device without any reading is not among them.
    """
    # Four seeks a device, as `reading.readings_span` has them.
    rows = connection.execute(
        """
        SELECT
            name,
            (SELECT min(at_ms) FROM readings WHERE device_id = devices.id),
            (SELECT max(at_ms) FROM readings WHERE device_id = devices.id),
            (SELECT first_ms FROM blocks WHERE device_id = devices.id ORDER BY start_ms LIMIT 1),
            (
                SELECT last_ms
                FROM blocks
                WHERE device_id = devices.id
                ORDER BY start_ms DESC
                LIMIT 1
            )
        FROM devices
        WHERE site_id = ?
        ORDER BY name
        """,
        (site_id,),
    )
    known = {name: [at_ms for at_ms in ends if at_ms is not None] for name, *ends in rows}
    return {name: Span(min(ends), max(ends) + 1) for name, ends in known.items() if ends}
