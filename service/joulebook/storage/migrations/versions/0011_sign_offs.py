"""What was signed off at a site; its terms, its equipment, and how its numbers are written."""

from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = (
    # What the terms allow: temperatures of a cell, and the pack's voltage while charging.
    "ALTER TABLE sites ADD COLUMN charge_low_c FLOAT",
    "ALTER TABLE sites ADD COLUMN charge_high_c FLOAT",
    "ALTER TABLE sites ADD COLUMN discharge_low_c FLOAT",
    "ALTER TABLE sites ADD COLUMN discharge_high_c FLOAT",
    "ALTER TABLE sites ADD COLUMN charge_max_v FLOAT",
    # What the equipment is, in the owner's words.
    "ALTER TABLE sites ADD COLUMN battery_maker VARCHAR",
    "ALTER TABLE sites ADD COLUMN battery_model VARCHAR",
    "ALTER TABLE sites ADD COLUMN battery_serial VARCHAR",
    "ALTER TABLE sites ADD COLUMN inverter_maker VARCHAR",
    "ALTER TABLE sites ADD COLUMN inverter_model VARCHAR",
    "ALTER TABLE sites ADD COLUMN inverter_serial VARCHAR",
    "ALTER TABLE sites ADD COLUMN installer VARCHAR",
    "ALTER TABLE sites ADD COLUMN commissioned DATE",
    # How numbers and dates are written, as "en-GB".
    "ALTER TABLE sites ADD COLUMN locale VARCHAR",
    # What somebody stood for on a day, as he saw it; "document" is hashed as it is kept.
    """
    CREATE TABLE sign_offs (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        at_ms INTEGER NOT NULL,
        who VARCHAR NOT NULL,
        name VARCHAR NOT NULL,
        role VARCHAR NOT NULL CHECK (role IN ('owner', 'installer')),
        document VARCHAR NOT NULL,
        sha256 VARCHAR NOT NULL
    )
    """,
    "CREATE INDEX ix_sign_offs_site ON sign_offs (site_id)",
    """
    CREATE TRIGGER sign_offs_stay_as_they_are
    BEFORE UPDATE ON sign_offs
    BEGIN
        SELECT RAISE(ABORT, 'a sign-off is never edited');
    END
    """,
)


def upgrade() -> None:
    """Make room for it; no site has any of it yet."""
    for statement in STATEMENTS:
        op.execute(statement)
