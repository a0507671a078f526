"""What an owner set about alerts: rules, quiet hours, the letter, and the channels."""

from collections.abc import Mapping
from dataclasses import dataclass

from joulebook.core.alerts.rules import BY_NAME
from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site

LONGEST_LABEL = 60
LONGEST_URL = 500
#: A site has no more channels than this.
MOST_CHANNELS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleSetting:
    """Whether a rule is on, and where it opens; ``None`` is its default."""

    is_on: bool = True
    opens_at: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertSettings:
    """A site's quiet hours and letter.

    Attributes
    ----------
    quiet_from, quiet_to : int or None
        Minutes of the local day, the first included; they may go over midnight. [min]
    dangerous_anyway : bool
        Whether what is dangerous comes in quiet hours too.
    letter_day, letter_hour : int or None
        Weekday (Monday is 0) and local hour of the weekly letter; ``None`` for none.
    """

    quiet_from: int | None = 22 * 60
    quiet_to: int | None = 7 * 60
    dangerous_anyway: bool = True
    letter_day: int | None = None
    letter_hour: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """A way to reach the owner; ``url`` is a secret and is shown to nobody."""

    id: int
    site_id: int
    label: str
    url: str
    made_ms: int
    removed_ms: int | None = None

    def __repr__(self) -> str:
        # The address may hold a password: not even a traceback shows it.
        return f"Channel(id={self.id}, label={self.label!r})"


@names_faults
def rule_settings(connection: Connection, site_id: int) -> dict[str, RuleSetting]:
    """Return the setting of every rule."""
    rows = connection.execute(
        "SELECT rule, is_on, opens_at FROM alert_rules WHERE site_id = ?", (site_id,)
    )
    there = {
        rule: RuleSetting(is_on=bool(is_on), opens_at=opens_at) for rule, is_on, opens_at in rows
    }
    return {name: there.get(name, RuleSetting()) for name in BY_NAME}


@names_faults
def set_rules(connection: Connection, site: Site, settings: Mapping[str, RuleSetting]) -> None:
    """Set rules; those not named stay.

    Raises
    ------
    UsageError
        If there is no such rule, or a rule of yes or no is given a limit.
    """
    for name, setting in settings.items():
        if name not in BY_NAME:
            raise _refused(f"there is no rule {name!r}", "rule", "one of " + ", ".join(BY_NAME))
        if setting.opens_at is not None and BY_NAME[name].is_yes_or_no:
            raise _refused(f"{name} has no limit to be set", name, "on or off")
    with joined(connection):
        connection.executemany(
            """
            INSERT INTO alert_rules (site_id, rule, is_on, opens_at)
            VALUES (?, ?, ?, ?)
            ON CONFLICT (site_id, rule) DO UPDATE
            SET is_on = excluded.is_on, opens_at = excluded.opens_at
            """,
            [(site.id, name, each.is_on, each.opens_at) for name, each in settings.items()],
        )


@names_faults
def alert_settings(connection: Connection, site_id: int) -> AlertSettings:
    """Return a site's quiet hours and letter."""
    row = connection.execute(
        """
        SELECT quiet_from, quiet_to, dangerous_anyway, letter_day, letter_hour
        FROM alert_settings
        WHERE site_id = ?
        """,
        (site_id,),
    ).fetchone()
    if row is None:
        return AlertSettings()
    return AlertSettings(
        quiet_from=row[0],
        quiet_to=row[1],
        dangerous_anyway=bool(row[2]),
        letter_day=row[3],
        letter_hour=row[4],
    )


@names_faults
def set_alert_settings(connection: Connection, site: Site, settings: AlertSettings) -> None:
    """Set a site's quiet hours and letter.

    Raises
    ------
    UsageError
        If a time is none of a day's, or only one of a pair is given.
    """
    for name, value, most in (
        ("quiet_from", settings.quiet_from, 1439),
        ("quiet_to", settings.quiet_to, 1439),
        ("letter_day", settings.letter_day, 6),
        ("letter_hour", settings.letter_hour, 23),
    ):
        if value is not None and not 0 <= value <= most:
            raise _refused(f"{name} cannot be {value}", name, f"0 to {most}")
    if (settings.quiet_from is None) != (settings.quiet_to is None):
        raise _refused("quiet hours need a beginning and an end", "quiet_to", "both, or none")
    if (settings.letter_day is None) != (settings.letter_hour is None):
        raise _refused("the letter needs a day and an hour", "letter_hour", "both, or none")
    with joined(connection):
        connection.execute(
            """
            INSERT INTO alert_settings
                (site_id, quiet_from, quiet_to, dangerous_anyway, letter_day, letter_hour)
            VALUES (?, ?, ?, ?, ?, ?)
            ON CONFLICT (site_id) DO UPDATE
            SET quiet_from = excluded.quiet_from,
                quiet_to = excluded.quiet_to,
                dangerous_anyway = excluded.dangerous_anyway,
                letter_day = excluded.letter_day,
                letter_hour = excluded.letter_hour
            """,
            (
                *(site.id, settings.quiet_from, settings.quiet_to, settings.dangerous_anyway),
                *(settings.letter_day, settings.letter_hour),
            ),
        )


@names_faults
def add_channel(
    connection: Connection, site: Site, *, label: str, url: str, made_ms: int
) -> Channel:
    """Add a channel; whether its address is one that can be used is for the caller to know.

    Raises
    ------
    UsageError
        If label or address are empty or too long, or the site has as many as it can have.
    """
    for name, text, most in (("label", label, LONGEST_LABEL), ("url", url, LONGEST_URL)):
        if not (0 < len(text.strip()) <= most and text.isprintable()):
            raise _refused(f"the {name} is empty or too long", name, f"1 to {most} characters")
    with joined(connection):
        if len(channels_of(connection, site.id)) >= MOST_CHANNELS:
            raise _refused("there are many channels already", "url", f"at most {MOST_CHANNELS}")
        (number,) = connection.execute(
            """
            INSERT INTO alert_channels (site_id, label, url, made_ms)
            VALUES (?, ?, ?, ?)
            RETURNING id
            """,
            (site.id, label.strip(), url.strip(), made_ms),
        ).fetchone()
    return Channel(
        id=int(number),
        site_id=site.id,
        label=label.strip(),
        url=url.strip(),
        made_ms=made_ms,
    )


@names_faults
def remove_channel(connection: Connection, site: Site, channel_id: int, *, now_ms: int) -> Channel:
    """Remove a channel: its address is forgotten, and nothing more is sent there.

    Raises
    ------
    UsageError
        If the site has none of that number.
    """
    with joined(connection):
        there = {each.id: each for each in channels_of(connection, site.id)}
        if channel_id not in there:
            raise _refused(f"there is no channel {channel_id}", "channel", "one of the list")
        connection.execute(
            "UPDATE alert_channels SET removed_ms = ?, url = '' WHERE id = ?", (now_ms, channel_id)
        )
        connection.execute(
            """
            UPDATE alert_deliveries
            SET state = 'given-up', trouble = 'the channel was removed'
            WHERE channel_id = ? AND state = 'waiting'
            """,
            (channel_id,),
        )
    return there[channel_id]


@names_faults
def channels_of(connection: Connection, site_id: int) -> list[Channel]:
    """Return a site's channels that were not removed, in the order they were added."""
    rows = connection.execute(
        """
        SELECT id, site_id, label, url, made_ms
        FROM alert_channels
        WHERE site_id = ? AND removed_ms IS NULL
        ORDER BY id
        """,
        (site_id,),
    )
    return [
        Channel(id=number, site_id=site, label=label, url=url, made_ms=made_ms)
        for number, site, label, url, made_ms in rows
    ]


def _refused(what: str, where: str, expected: str) -> UsageError:
    return UsageError(
        what, where=where, expected=expected, next_step="correct it; nothing was changed"
    )
