"""What was signed off at a site, and how its numbers are written."""

from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = ()


def upgrade() -> None:
    """Make room for it."""
    for statement in STATEMENTS:
        op.execute(statement)
