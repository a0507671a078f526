"""Which tables hold what is moved of a site, and which of their columns mean the same elsewhere.

Numbers of rows (``id``) and marks are a database's own: a row is moved without them, and what
refers to them is told by names and places instead. Rows that are told alike are the same.
"""

from dataclasses import dataclass
from typing import Literal

#: Who a table's rows belong to: the column that says so, and how a site's are found.
Owner = Literal["site", "name", "device", "channel"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedTable:
    """A table of which a site's rows are moved as they are.

    Attributes
    ----------
    name : str
    columns : tuple of str
        Those that are told, in this order; references are told by what they refer to.
    owner : str
        How the rows of a site are found.
    order : str
        In which they were made; rows are told and made in it.
    marked : bool
        Whether a row has a mark, which is a new one wherever the row is moved to.
    said : bool
        Whether it holds what nobody can compute: it must not change before a site is deleted.
    """

    name: str
    columns: tuple[str, ...]
    owner: Owner = "site"
    order: str = "id"
    marked: bool = False
    said: bool = False


#: Rows that are many, and moved before a site is seen.
EARLY = (
    MovedTable(name="day_results", columns=("day", "method", "result", "computed_ms"), order="day"),
    MovedTable(
        name="seal_links",
        columns=("number", "device_id", "day", "readings", "digest", "sealed_ms", "hash"),
        order="number",
    ),
)

#: Rows that others would act upon: moved in the one transaction that shows the site.
LATE = (
    EARLY[1],  # once more: whoever seals there may have linked what came
    MovedTable(
        name="corrections",
        columns=(
            *("device", "quantity", "kind", "value", "from_ms", "to_ms"),
            *("note", "made_ms", "withdrawn_ms"),
        ),
        said=True,
    ),
    MovedTable(
        name="events",
        columns=("at_ms", "kind", "title", "note", "made_ms", "removed_ms"),
        said=True,
    ),
    MovedTable(
        name="event_photos",
        columns=("event_id", "caption", "made_ms", "width", "height", "sha256", "jpeg"),
        said=True,
    ),
    MovedTable(
        name="deep_tests",
        columns=("planned_ms", "started_ms", "ended_ms", "target", "note"),
        said=True,
    ),
    MovedTable(
        name="tariffs",
        columns=("from_day", "terms", "note", "made_ms", "withdrawn_ms"),
        said=True,
    ),
    MovedTable(
        name="sign_offs",
        columns=("at_ms", "who", "name", "role", "document", "sha256"),
        said=True,
    ),
    MovedTable(
        name="quarantine",
        columns=(
            *("source", "topic", "payload", "reason", "detail"),
            *("received_ms", "times_seen", "last_received_ms"),
        ),
        said=True,
    ),
    MovedTable(name="alert_rules", columns=("rule", "is_on", "opens_at"), order="rule", said=True),
    MovedTable(
        name="alert_settings",
        columns=("quiet_from", "quiet_to", "dangerous_anyway", "letter_day", "letter_hour"),
        order="site_id",
        said=True,
    ),
    MovedTable(
        name="alert_watches",
        columns=("rule", "subject", "is_open", "since_ms", "least"),
        order="rule, subject",
    ),
    MovedTable(
        name="alert_episodes",
        columns=("rule", "subject", "opened_ms", "closed_ms", "value", "sentence"),
    ),
    MovedTable(name="alert_channels", columns=("label", "url", "made_ms", "removed_ms"), said=True),
    MovedTable(
        name="alert_deliveries",
        columns=(
            *("channel_id", "about", "title", "body", "html", "state"),
            *("made_ms", "next_ms", "tries", "trouble"),
        ),
        owner="channel",
    ),
    MovedTable(
        name="tokens",
        columns=("name", "secret_sha256", "scope", "made_ms", "last_used_ms", "revoked_ms"),
    ),
    MovedTable(
        name="shares",
        columns=("secret_sha256", "page", "made_by", "made_ms", "ends_ms", "revoked_ms"),
        said=True,
    ),
    MovedTable(name="audit", columns=("at_ms", "who", "action", "detail"), owner="name", said=True),
    MovedTable(name="zone_rules", columns=("rules",), order="site_id"),
    MovedTable(
        name="record_results",
        columns=("name", "method", "mark", "computed_ms", "result"),
        order="name",
    ),
    MovedTable(name="record_marks", columns=("mark",), order="site_id"),
    MovedTable(
        name="hot_days", columns=("device_id", "day"), owner="device", order="day", marked=True
    ),
    MovedTable(
        name="dirty_quarters",
        columns=("device_id", "day"),
        owner="device",
        order="day",
        marked=True,
    ),
    MovedTable(name="dirty_days", columns=("day",), order="day", marked=True),
    # The last: from here on the database itself keeps what is final as it is.
    MovedTable(name="final_before", columns=("day", "start_ms"), order="site_id"),
)

#: Moved too, each in a way of its own: what its columns are, but for numbers of rows and marks.
IN_THEIR_WAY = {
    "sites": "facts, by name",
    "devices": "by name",
    "series": "by device and quantity, with the same slot",
    "readings": "hot rows, a week of a device at a time",
    "blocks": "decoded, and encoded with the numbers of the series there",
    "quarters": "as they are, but for the numbers of the series",
    "newest": "by series",
    "quarantine_sizes": "counted by triggers; what was let go is added",
}

#: Not moved, and why.
LEFT = {
    "home_lines": "made anew, of what was moved and of the homes beside it there",
    "roles": "people of the same name need not be the same: who moves a site says who is",
}

#: Columns that are not moved, and why.
LEFT_COLUMNS = {
    ("sites", "organisation_id"): "organisations of the same name need not be the same",
    ("audit", "organisation_id"): "the same",
    ("tokens", "organisation_id"): "of a token that is of no site",
}
