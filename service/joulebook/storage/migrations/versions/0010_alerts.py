"""What the owner is told of, by which channels, and what he was told."""

from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = (
    # How each rule stands with each subject, between one look and the next.
    """
    CREATE TABLE alert_watches (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        rule VARCHAR NOT NULL,
        subject VARCHAR NOT NULL,
        is_open BOOLEAN NOT NULL,
        since_ms INTEGER,
        least FLOAT,
        PRIMARY KEY (site_id, rule, subject)
    )
    """,
    """
    CREATE TABLE alert_episodes (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        rule VARCHAR NOT NULL,
        subject VARCHAR NOT NULL,
        opened_ms INTEGER NOT NULL,
        closed_ms INTEGER,
        value FLOAT NOT NULL,
        sentence VARCHAR NOT NULL,
        CHECK (opened_ms <= closed_ms)
    )
    """,
    "CREATE INDEX ix_alert_episodes_site ON alert_episodes (site_id, opened_ms)",
    # A rule that is off, or opens elsewhere than by default.
    """
    CREATE TABLE alert_rules (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        rule VARCHAR NOT NULL,
        is_on BOOLEAN NOT NULL,
        opens_at FLOAT,
        PRIMARY KEY (site_id, rule)
    )
    """,
    # Minutes of the local day; a letter's day counts from Monday, 0.
    """
    CREATE TABLE alert_settings (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        quiet_from INTEGER,
        quiet_to INTEGER,
        dangerous_anyway BOOLEAN NOT NULL,
        letter_day INTEGER,
        letter_hour INTEGER,
        CHECK ((quiet_from IS NULL) = (quiet_to IS NULL)),
        CHECK ((letter_day IS NULL) = (letter_hour IS NULL))
    )
    """,
    # "url" is a secret: it may hold a password.
    """
    CREATE TABLE alert_channels (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        label VARCHAR NOT NULL,
        url VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        removed_ms INTEGER
    )
    """,
    "CREATE INDEX ix_alert_channels_site ON alert_channels (site_id)",
    # One row for each thing to be told on a channel; "about" names it, so that it is there once.
    """
    CREATE TABLE alert_deliveries (
        id INTEGER NOT NULL PRIMARY KEY,
        channel_id INTEGER NOT NULL REFERENCES alert_channels (id),
        about VARCHAR NOT NULL,
        title VARCHAR NOT NULL,
        body VARCHAR NOT NULL,
        html VARCHAR,
        state VARCHAR NOT NULL CHECK (
            state IN ('waiting', 'sending', 'delivered', 'unknown', 'given-up')
        ),
        made_ms INTEGER NOT NULL,
        next_ms INTEGER NOT NULL,
        tries INTEGER NOT NULL,
        trouble VARCHAR NOT NULL,
        UNIQUE (channel_id, about)
    )
    """,
    "CREATE INDEX ix_alert_deliveries_next ON alert_deliveries (state, next_ms)",
)


def upgrade() -> None:
    """Make room for it."""
    for statement in STATEMENTS:
        op.execute(statement)
