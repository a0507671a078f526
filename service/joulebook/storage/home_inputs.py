"""What a home's line is made of, of all homes at once: ten thousand are looked at every minute."""

from collections.abc import Mapping
from dataclasses import dataclass

from joulebook.storage.connections import Connection, joined_snapshot
from joulebook.storage.faults import names_faults
from joulebook.storage.names import IS_WHOLE
from joulebook.storage.record_results import Stamp


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that is open: its rule, since when [ms, UTC epoch], and what was found."""

    rule: str
    opened_ms: int
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HomeInput:
    """What there is of a home.

    Attributes
    ----------
    site_id, name : int, str
    said : tuple of (bool, bool)
        Whether the terms of the warranty, and whether the day on which it first ran, are entered.
    record, checks : Stamp or None
        Of the stored analysis, and of the checks that found trouble.
    newest_ms : int or None
        When the newest reading was taken. [ms, UTC epoch]
    silence : tuple of (bool, float or None) or None
        How its owner set the rule of silence: whether it is on, and from how many minutes.
    alerts : tuple of OpenAlert
        In the order in which they opened.
    signed : bool
        Whether its commissioning was signed off.
    numbers_of, made_of : str or None
        What its line was made of last; ``None`` where it has none.
    """

    site_id: int
    name: str
    said: tuple[bool, bool]
    record: Stamp | None
    checks: Stamp | None
    newest_ms: int | None
    silence: tuple[bool, float | None] | None
    alerts: tuple[OpenAlert, ...]
    signed: bool
    numbers_of: str | None
    made_of: str | None


@names_faults
def home_inputs(connection: Connection, silence_rule: str) -> list[HomeInput]:
    """Return what there is of every home, as of one commit.

    Parameters
    ----------
    silence_rule : str
        The name of the rule that tells a silence.
    """
    with joined_snapshot(connection):
        newest = _by_site(connection, _NEWEST)
        signed = _by_site(connection, "SELECT site_id, 1 FROM sign_offs GROUP BY site_id")
        silences = {
            site_id: (bool(is_on), opens_at)
            for site_id, is_on, opens_at in connection.execute(
                "SELECT site_id, is_on, opens_at FROM alert_rules WHERE rule = ?", (silence_rule,)
            )
        }
        alerts = _open_alerts(connection)
        rows = connection.execute(_HOMES).fetchall()
    return [
        HomeInput(
            site_id=site_id,
            name=name,
            said=(bool(terms), bool(installed)),
            record=None if marks[0] is None else Stamp(*marks[:2]),
            checks=None if marks[2] is None else Stamp(*marks[2:]),
            newest_ms=newest.get(site_id),
            silence=silences.get(site_id),
            alerts=tuple(alerts.get(site_id, ())),
            signed=site_id in signed,
            numbers_of=numbers_of,
            made_of=made_of,
        )
        for site_id, name, terms, installed, *marks, numbers_of, made_of in rows
    ]


_NEWEST = """
SELECT devices.site_id, max(newest.at_ms)
FROM newest
JOIN series ON series.id = newest.series_id
JOIN devices ON devices.id = series.device_id
GROUP BY devices.site_id
"""
_HOMES = f"""
SELECT sites.id, sites.name,
    sites.battery_ah IS NOT NULL AND sites.warranty_years IS NOT NULL
        AND sites.warranty_floor_ratio IS NOT NULL,
    sites.installed IS NOT NULL,
    record.mark, record.computed_ms, checks.mark, checks.computed_ms,
    home_lines.numbers_of, home_lines.made_of
FROM sites
LEFT JOIN record_results AS record ON record.site_id = sites.id AND record.name = 'record'
LEFT JOIN record_results AS checks ON checks.site_id = sites.id AND checks.name = 'checks'
LEFT JOIN home_lines ON home_lines.site_id = sites.id
WHERE {IS_WHOLE}
ORDER BY sites.id
"""  # noqa: S608 -- a condition of ours


def _by_site(connection: Connection, query: str) -> Mapping[int, int]:
    return dict(connection.execute(query).fetchall())


def _open_alerts(connection: Connection) -> dict[int, list[OpenAlert]]:
    found: dict[int, list[OpenAlert]] = {}
    for site_id, *alert in connection.execute(
        """
        SELECT site_id, rule, opened_ms, sentence
        FROM alert_episodes
        WHERE closed_ms IS NULL
        ORDER BY opened_ms, id
        """
    ):
        found.setdefault(site_id, []).append(OpenAlert(*alert))
    return found
