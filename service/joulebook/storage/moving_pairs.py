"""A site's counterpart at the target: made under a name that nobody asks for, with its series."""

from joulebook.storage.connections import Connection, transaction
from joulebook.storage.deletion import delete_site
from joulebook.storage.moving_sides import Side, facts_told, put_site, side_of
from joulebook.storage.moving_units import Told
from joulebook.storage.names import COMING
from joulebook.storage.records import Series, Site
from joulebook.storage.slots import make_place


def paired(source: Connection, target: Connection, name: str, *, now_ms: int) -> Side:
    """Return what the target has of a site, with all that the source's readings need.

    What an earlier move of another site of that name left is deleted: it was never whole.
    """
    one = side_of(source, name)
    assert one is not None  # the caller has it
    coming = COMING + name
    other = side_of(target, coming)
    if other is not None and not _may_become(other, one):
        left = Site(id=other.site_id, name=coming, timezone="UTC")
        delete_site(target, left, who="command line", now_ms=now_ms)
        other = None
    if other is not None and catalogue_told(other) == catalogue_told(one):
        return other
    with transaction(target):
        put_site(target, coming, facts_told(one))
        other = side_of(target, coming)
        assert other is not None  # just made
        _add_series(other, one)
        added = side_of(target, coming)
    assert added is not None
    return added


def _may_become(other: Side, one: Side) -> bool:
    """Tell whether a side has nothing that another has not: series can be added, never changed."""
    return other.devices.keys() <= one.devices.keys() and all(
        key in one.series and _told(series) == _told(one.series[key])
        for key, series in other.series.items()
    )


def _add_series(other: Side, one: Side) -> None:
    """Make the devices and series that are missing, in the caller's transaction."""
    connection, devices = other.connection, dict(other.devices)
    for device in one.devices:
        if device not in devices:
            (devices[device],) = connection.execute(
                "INSERT INTO devices (site_id, name) VALUES (?, ?) RETURNING id",
                (other.site_id, device),
            ).fetchone()
    for key, series in one.series.items():
        if key not in other.series:
            make_place(connection, series.slot)
            connection.execute(
                """
                INSERT INTO series (device_id, quantity, unit, kind, slot)
                VALUES (?, ?, ?, ?, ?)
                """,
                (devices[series.device], *_told(series)),
            )


def catalogue_told(side: Side) -> Told:
    """Return where what is, of the site itself, its devices and its series."""
    return (
        {f"fact {fact}": value for fact, value in facts_told(side).items()}
        | {f"device {device}": True for device in side.devices}
        | {f"series {device}.{name}": _told(one) for (device, name), one in side.series.items()}
    )


def _told(series: Series) -> tuple[object, ...]:
    return series.quantity, series.unit, series.kind, series.slot
