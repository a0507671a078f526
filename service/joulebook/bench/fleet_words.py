"""What breaks when homes become more, and what then takes over, in words for the page."""

from typing import NamedTuple

from joulebook.ingest.decode import MOST_TOPICS


class Words(NamedTuple):
    """Of one limit: its name, what it is, and what to do."""

    short: str
    what: str
    then: str


_SECOND = "a second server, with organisations divided between the two (`joulebook move`)"

WORDS = {
    "writer": Words(
        "one writer",
        "one ingest process, which commits one transaction after the other",
        "more [copies](copies.md): one decodes while another one commits",
    ),
    "commits": Words(
        "commits after one another",
        "commits of all copies: each holds homes of every group of locks, so one waits for another",
        f"{_SECOND}; copies for parts of the sites, whose commits do not meet, are not built",
    ),
    "sealer": Words(
        "one sealer",
        "one process that seals: a day of a device after the other, each a commit of its own",
        "`joulebook serve` more than once: each seals what nobody else is at",
    ),
    "today": Words(
        "one process for today's results",
        "one `joulebook serve` that has today's results of every home at most 15 minutes behind",
        "`joulebook serve` more than once: each computes what nobody else is at",
    ),
    "watch": Words(
        "a look at all homes each minute",
        "one process that looks at every home's newest readings each minute, for alerts",
        f"{_SECOND}: several processes each look at all homes",
    ),
    "back": Words(
        "a look back each hour",
        "one `joulebook serve` that looks back at every home each hour, in a sixth of its time",
        "`joulebook serve` more than once: each looks back at homes that are due",
    ),
    "night": Words(
        "one machine's night",
        "one machine's cores at night: every record is analysed whole",
        "more machines as Dask workers: [compute](fleet-compute.md)",
    ),
    "copies": Words(
        "one machine of copies",
        "one machine's cores for ingest copies",
        "copies on more machines, behind the broker's shared subscription or a balancer",
    ),
    "server": Words("one server's cores", "the database server's cores", _SECOND),
    "disk": Words(
        "one server's disk",
        "what the server's disk can write: log, hot rows, blocks",
        f"the log on a disk of its own; then {_SECOND}",
    ),
    "room": Words(
        "room on one disk",
        "room on the server's disk for hot rows and one year",
        f"a larger disk, or `keep_years`; then {_SECOND}",
    ),
    "vacuum": Words(
        "vacuum of hot rows",
        "one vacuum worker for the table of hot rows, all of which are deleted when sealed",
        f"{_SECOND}; hot rows parted by day, so that a part is dropped, are not built",
    ),
    "list": Words(
        "list of all homes",
        "the list of all homes takes a second: a copy reads it anew when it does not know a site",
        "copies for a group of organisations each, on a server of their own",
    ),
    "topics": Words(
        "topics that a copy remembers",
        f"a copy remembers {MOST_TOPICS:,} topics, and takes in any more of them more slowly",
        "copies for a group of organisations each: every copy of a shared subscription sees all",
    ),
    "page": Words(
        "page of all homes",
        "the page of all homes takes more than 100 ms",
        "people who see the homes of their own organisation; then a server for a group of these",
    ),
    "broker": Words(
        "one broker",
        "one broker; its rate is assumed, not measured",
        "a broker for a group of organisations, each with copies of its own",
    ),
}
