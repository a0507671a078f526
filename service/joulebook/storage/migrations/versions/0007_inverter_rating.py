"""What the inverter is rated for, as its owner says: what is left above the largest starts."""

from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

STATEMENTS = (
    "ALTER TABLE sites ADD COLUMN inverter_w FLOAT",
    "ALTER TABLE sites ADD COLUMN inverter_peak_w FLOAT",
)


def upgrade() -> None:
    """Make room for the inverter's rating; no site has one yet."""
    for statement in STATEMENTS:
        op.execute(statement)
