"""What is told of a home among many others, ready to be shown; and which alerts are open."""

from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

# Bytes and instants have other names on a server.
_TYPES = {
    "sqlite": {"bytes": "BLOB", "instant": "INTEGER"},
    "postgresql": {"bytes": "BYTEA", "instant": "BIGINT"},
}

STATEMENTS = (
    # "gravity" sorts: the least comes first. "reasons" are codes, the gravest first. "numbers",
    # "peers" and "told" are JSON; "numbers_of" and "made_of" say what they were made of. "mark"
    # grows with every change of any line.
    """
    CREATE TABLE home_lines (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        gravity INTEGER NOT NULL,
        reasons VARCHAR NOT NULL,
        numbers {bytes} NOT NULL,
        numbers_of VARCHAR NOT NULL,
        peers {bytes},
        told {bytes} NOT NULL,
        made_of VARCHAR NOT NULL,
        made_ms {instant} NOT NULL,
        mark INTEGER NOT NULL
    )
    """,
    "CREATE INDEX ix_home_lines_mark ON home_lines (mark)",
    # Of ten years of alerts few are open, and those are asked for every minute.
    "CREATE INDEX ix_alert_episodes_open ON alert_episodes (site_id) WHERE closed_ms IS NULL",
)


def upgrade() -> None:
    """Make room for it; the service fills it by itself."""
    types = _TYPES[op.get_bind().dialect.name]
    for statement in STATEMENTS:
        op.execute(statement.format(**types))
