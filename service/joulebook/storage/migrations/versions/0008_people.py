"""Who may see and change what, and what was changed by whom."""

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = (
    # What was changed, by whom: the audit log. "site" is its name then, for sites can be deleted.
    """
    CREATE TABLE audit (
        id INTEGER NOT NULL PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        who VARCHAR NOT NULL,
        site VARCHAR,
        action VARCHAR NOT NULL,
        detail VARCHAR NOT NULL
    )
    """,
    "CREATE INDEX ix_audit_at ON audit (at_ms)",
)


def upgrade() -> None:
    """Make room for it."""
    for statement in STATEMENTS:
        op.execute(statement)
