import json
from pathlib import Path

import pytest

from joulebook.bench.messages import ingest, payloads
from joulebook.bench.questions import WrongAnswerError
from joulebook.bench.site import Plan, first_rows, pieces, readings_in

PLAN = Plan(days=1)
PIECE = [first_rows(columns, 600) for columns in next(pieces(PLAN))]


def test_a_message_is_a_device_at_an_instant_and_they_come_in_order() -> None:
    sent = payloads(PIECE)
    assert len(sent) == 4 * 600
    times = [json.loads(payload)[0]["bt"] for _, payload in sent]
    assert times == sorted(times)
    device, payload = sent[0]
    assert device == "battery"
    assert [record["n"] for record in json.loads(payload)] == list(PIECE[0].values)


def test_both_store_all_that_was_sent(tmp_path: Path) -> None:
    took_s = ingest(tmp_path, payloads(PIECE), readings_in(PIECE), PLAN.span.end_ms, 2)
    assert {name: len(times) for name, times in took_s.items()} == {
        "joulebook": 2,
        "SQLite rows": 2,
    }
    assert min(map(min, took_s.values())) > 0


def test_readings_that_are_lost_are_noticed(tmp_path: Path) -> None:
    with pytest.raises(WrongAnswerError, match="joulebook stored 12000 readings of 12001"):
        ingest(tmp_path, payloads(PIECE), readings_in(PIECE) + 1, PLAN.span.end_ms, 1)
