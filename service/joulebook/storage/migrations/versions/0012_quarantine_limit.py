"""How much is set aside by site and reason, and how much of it was let go for want of room."""

from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

# What an entry takes, without SQLite's own overhead. [byte]
_BYTES = (
    "length({row}payload) + length(CAST({row}topic AS BLOB)) + length(CAST({row}source AS BLOB))"
    " + length(CAST({row}detail AS BLOB))"
)

# `owner` is the site's id, and 0 where no site could be told: a key cannot be NULL. Triggers keep
# the sums, so that they are true whoever writes or deletes.
STATEMENTS = (
    """
    CREATE TABLE quarantine_sizes (
        owner INTEGER NOT NULL,
        reason VARCHAR NOT NULL,
        kept INTEGER NOT NULL,
        kept_bytes INTEGER NOT NULL,
        let_go INTEGER NOT NULL DEFAULT 0,
        PRIMARY KEY (owner, reason)
    ) WITHOUT ROWID
    """,
    f"""
    INSERT INTO quarantine_sizes (owner, reason, kept, kept_bytes)
    SELECT coalesce(site_id, 0), reason, count(*), sum({_BYTES.format(row="")})
    FROM quarantine
    GROUP BY coalesce(site_id, 0), reason
    """,
    f"""
    CREATE TRIGGER quarantine_grows AFTER INSERT ON quarantine
    BEGIN
        INSERT INTO quarantine_sizes (owner, reason, kept, kept_bytes)
        VALUES (coalesce(NEW.site_id, 0), NEW.reason, 1, {_BYTES.format(row="NEW.")})
        ON CONFLICT (owner, reason) DO UPDATE
        SET kept = kept + 1, kept_bytes = kept_bytes + excluded.kept_bytes;
    END
    """,
    f"""
    CREATE TRIGGER quarantine_shrinks AFTER DELETE ON quarantine
    BEGIN
        UPDATE quarantine_sizes
        SET kept = kept - 1,
            kept_bytes = kept_bytes - ({_BYTES.format(row="OLD.")}),
            let_go = let_go + 1
        WHERE owner = coalesce(OLD.site_id, 0) AND reason = OLD.reason;
    END
    """,
    """
    CREATE INDEX ix_quarantine_reason_last ON quarantine (site_id, reason, last_received_ms)
    """,
)


def upgrade() -> None:
    """Add up what is set aside already, and keep the sums from now on."""
    for statement in STATEMENTS:
        op.execute(statement)
