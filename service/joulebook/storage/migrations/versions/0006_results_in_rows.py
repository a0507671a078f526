"""Day results in rows that share pages: three results to a page where each took one of its own."""

from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_IS_FINAL = "{row}.day < (SELECT day FROM final_before WHERE site_id = {row}.site_id)"

STATEMENTS = (
    # Without row ids a row is a key of the tree, of which no more than a quarter of a page stays
    # in it: a result of 1.3 kB took a whole page beside that.
    """
    CREATE TABLE day_results_in_rows (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        day DATE NOT NULL,
        method VARCHAR NOT NULL,
        result BLOB NOT NULL,
        computed_ms INTEGER NOT NULL,
        PRIMARY KEY (site_id, day)
    )
    """,
    """
    INSERT INTO day_results_in_rows (site_id, day, method, result, computed_ms)
    SELECT site_id, day, method, result, computed_ms
    FROM day_results
    ORDER BY site_id, day
    """,
    "DROP TABLE day_results",  # and its triggers, which would have kept what is final
    "ALTER TABLE day_results_in_rows RENAME TO day_results",
    *(
        f"""
        CREATE TRIGGER final_day_results_{action.lower()} BEFORE {action} ON day_results
        WHEN {_IS_FINAL.format(row="NEW" if action == "INSERT" else "OLD")}
        BEGIN
            SELECT RAISE(IGNORE);
        END
        """
        for action in ("INSERT", "UPDATE", "DELETE")
    ),
)


def upgrade() -> None:
    """Move the day results, and hold everybody to what is final as before."""
    for statement in STATEMENTS:
        op.execute(statement)
