from dataclasses import replace

from joulebook.cli.health import health_of
from joulebook.ingest.inbox import InboxCounts
from joulebook.ingest.mqtt.roster import ListenerCounts
from joulebook.storage.records import SealCounts
from joulebook.storage.sealer import SealerCounts
from joulebook.summaries.analyst import AnalystCounts
from joulebook.summaries.summariser import SummariserCounts
from joulebook.web.health import Health

INBOX = InboxCounts(
    messages=7,
    new=100,
    repeated=2,
    replaced=1,
    quarantined=3,
    commits=5,
    queued=4,
    last_commit_ms=1_780_000_000_000,
    failing=None,
    alive=True,
)
LISTENER = ListenerCounts(connections=1, connections_total=2, refused=1, messages=7, bytes=900)
SUMMARIES = SummariserCounts(alive=True, dirty_days=6, days_computed=9, failing=())
ANALYSIS = AnalystCounts(alive=True, rounds=3, records_analysed=1, failing=())
SEALING = SealerCounts(alive=True, runs=2, sealed=SealCounts(), failing=())


def test_all_well_is_ready_with_every_count_in_its_place() -> None:
    assert health_of(
        INBOX, LISTENER, SUMMARIES, SEALING, ANALYSIS, broker_connected=None
    ) == Health(
        ready=True,
        problems=(),
        messages=7,
        readings_new=100,
        readings_repeated=2,
        readings_replaced=1,
        quarantined=3,
        commits=5,
        queued=4,
        last_commit_ms=1_780_000_000_000,
        connections=1,
        connections_total=2,
        connections_refused=1,
        listener_messages=7,
        listener_bytes=900,
        broker_connected=None,
        dirty_days=6,
    )


def test_a_full_disk_is_not_ready() -> None:
    health = health_of(
        replace(INBOX, failing="the disk is full"),
        LISTENER,
        SUMMARIES,
        SEALING,
        ANALYSIS,
        broker_connected=True,
    )
    assert not health.ready
    assert health.problems == ("readings cannot be stored: the disk is full",)


def test_a_dead_writer_is_not_ready() -> None:
    health = health_of(
        replace(INBOX, alive=False), LISTENER, SUMMARIES, SEALING, ANALYSIS, broker_connected=None
    )
    assert not health.ready
    assert "the writer has stopped" in health.problems[0]


def test_what_does_not_stop_readings_is_told_and_stays_ready() -> None:
    summaries = replace(SUMMARIES, alive=False, failing=("2026-07-14 cannot be computed: x",))
    sealing = replace(SEALING, alive=False, failing=("battery, 2026-07-01: a damaged block",))
    analysis = replace(ANALYSIS, alive=False, failing=("a record cannot be analysed: x",))
    health = health_of(INBOX, LISTENER, summaries, sealing, analysis, broker_connected=False)
    assert health.ready
    assert [problem.split()[0:2] for problem in health.problems] == [
        ["the", "summaries"],
        ["sealing", "has"],
        ["the", "analysis"],
        ["2026-07-14", "cannot"],
        ["battery,", "2026-07-01:"],
        ["a", "record"],
        ["the", "broker"],
    ]
