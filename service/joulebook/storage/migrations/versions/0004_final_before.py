"""Before which day a site's results are final, since readings older than that are removed."""

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_DAY_IS_FINAL = "{row}.day < (SELECT day FROM final_before WHERE site_id = {row}.site_id)"
_FINAL_MS = """
    SELECT final_before.start_ms
    FROM final_before
    JOIN devices ON devices.site_id = final_before.site_id
    WHERE devices.id = {row}.device_id
"""
_MONTH_IS_FINAL = "{row}.start_ms < (" + _FINAL_MS + ")"
_UTC_DAY_IS_FINAL = "{row}.day * 86400000 < (" + _FINAL_MS + ")"

# What is computed from readings that are gone can never be computed again. So the database
# itself keeps it, whoever writes: no change of it, and no mark that would ask for one.
_KEPT = (
    ("day_results", "INSERT", _DAY_IS_FINAL),
    ("day_results", "UPDATE", _DAY_IS_FINAL),
    ("day_results", "DELETE", _DAY_IS_FINAL),
    ("dirty_days", "INSERT", _DAY_IS_FINAL),
    ("quarters", "INSERT", _MONTH_IS_FINAL),
    ("quarters", "UPDATE", _MONTH_IS_FINAL),
    ("quarters", "DELETE", _MONTH_IS_FINAL),
    ("dirty_quarters", "INSERT", _UTC_DAY_IS_FINAL),
)

STATEMENTS = (
    """
    CREATE TABLE final_before (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        day DATE NOT NULL,
        start_ms INTEGER NOT NULL
    )
    """,
    *(
        f"""
        CREATE TRIGGER final_{table}_{action.lower()} BEFORE {action} ON {table}
        WHEN {condition.format(row="NEW" if action == "INSERT" else "OLD")}
        BEGIN
            SELECT RAISE(IGNORE);
        END
        """
        for table, action, condition in _KEPT
    ),
)


def upgrade() -> None:
    """Make room for the day before which nothing changes, and hold everybody to it."""
    for statement in STATEMENTS:
        op.execute(statement)
