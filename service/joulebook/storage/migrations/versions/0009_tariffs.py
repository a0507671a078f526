"""What a kilowatt-hour costs, by season and hour."""

from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = (
    # A tariff is never edited: another one begins on a later day, or it is withdrawn, and stays.
    """
    CREATE TABLE tariffs (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        from_day DATE NOT NULL,
        terms VARCHAR NOT NULL,
        note VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        withdrawn_ms INTEGER
    )
    """,
    "CREATE INDEX ix_tariffs_site ON tariffs (site_id)",
)


def upgrade() -> None:
    """Make room for it."""
    for statement in STATEMENTS:
        op.execute(statement)
