"""What its owner says of a record: corrections, events, deep tests; and what is computed of it."""

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

STATEMENTS = (
    # A correction is never edited: it is withdrawn, and stays. "from" and "to" are SQL's words.
    """
    CREATE TABLE corrections (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        device VARCHAR NOT NULL,
        quantity VARCHAR NOT NULL,
        kind VARCHAR NOT NULL CHECK (kind IN ('sign', 'scale', 'offset', 'exclude')),
        value FLOAT,
        from_ms INTEGER,
        to_ms INTEGER,
        note VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        withdrawn_ms INTEGER,
        CHECK ((value IS NOT NULL) = (kind IN ('scale', 'offset'))),
        CHECK (from_ms < to_ms)
    )
    """,
    "CREATE INDEX ix_corrections_site ON corrections (site_id)",
    """
    CREATE TABLE events (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        at_ms INTEGER NOT NULL,
        kind VARCHAR NOT NULL CHECK (
            kind IN (
                'firmware', 'wiring', 'panels', 'battery', 'sensor', 'settings',
                'capacity_setting', 'other'
            )
        ),
        title VARCHAR NOT NULL,
        note VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        removed_ms INTEGER
    )
    """,
    "CREATE INDEX ix_events_site ON events (site_id)",
    """
    CREATE TABLE deep_tests (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        planned_ms INTEGER NOT NULL,
        started_ms INTEGER,
        ended_ms INTEGER,
        target VARCHAR NOT NULL,
        note VARCHAR NOT NULL,
        CHECK (started_ms < ended_ms)
    )
    """,
    "CREATE INDEX ix_deep_tests_site ON deep_tests (site_id)",
    # Of the whole record of a site. The bytes come last, as in blocks.
    """
    CREATE TABLE record_results (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        name VARCHAR NOT NULL,
        method VARCHAR NOT NULL,
        mark INTEGER NOT NULL,
        computed_ms INTEGER NOT NULL,
        result BLOB NOT NULL,
        PRIMARY KEY (site_id, name)
    )
    """,
    """
    CREATE TABLE record_marks (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        mark INTEGER NOT NULL
    )
    """,
    # Nothing is computed of whole records yet, so every record is behind.
    """
    INSERT INTO record_marks (site_id, mark)
    SELECT sites.id, markings.last_mark
    FROM sites, markings
    """,
)


def upgrade() -> None:
    """Make room for what is said and computed of whole records."""
    for statement in STATEMENTS:
        op.execute(statement)
