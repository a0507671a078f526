import os
from pathlib import Path

import pytest

from joulebook_bridge.batch import Instant
from joulebook_bridge.spool.records import Header
from joulebook_bridge.spool.segments import ASIDE, HELD, OPEN, READY, Writer, find_segments
from tests.helpers.spools import PANELS, batch, files

AT = Instant(1_789_000_000_000, 5)
HEADER = Header("boot", AT, clock_is_set=False)


def written(folder: Path, number: int, batches: int = 2) -> Writer:
    writer = Writer(folder, number, HEADER)
    for value in range(batches):
        writer.append(batch(AT, value))
    return writer


def test_a_files_name_says_all_about_it(tmp_path: Path) -> None:
    for number, (state, shift_ms) in enumerate([(HELD, 0), (READY, -3_600_000), (ASIDE, 0)], 1):
        writer = written(tmp_path, number)
        writer.close()
        writer.segment.become(state, shift_ms)
    written(tmp_path, 4).close()
    (tmp_path / "latest").write_text("1")
    assert files(tmp_path) == [
        "0000000001.b2.r4.held",
        "0000000002.b2.r4.s-3600000.ready",
        "0000000003.b2.r4.aside",
        "0000000004.open",
    ]
    found = find_segments(tmp_path)
    assert [(each.state, each.batches, each.readings) for each in found] == [
        (HELD, 2, 4),
        (READY, 2, 4),
        (ASIDE, 2, 4),
        (OPEN, 2, 4),
    ]
    assert found[1].shift_ms == -3_600_000
    assert found[3].header == HEADER
    assert found[0].size == found[0].path.stat().st_size


def test_what_waits_is_what_is_neither_on_its_way_nor_delivered(tmp_path: Path) -> None:
    writer = written(tmp_path, 1, batches=4)
    segment = writer.segment
    segment.busy.add(0)
    segment.acknowledged.update((1, 2))
    assert segment.waiting == 1
    assert not segment.is_delivered
    assert segment.undelivered_readings == 4
    segment.acknowledged.update((0, 3))
    assert segment.is_delivered
    writer.close()
    empty = written(tmp_path, 2, batches=0)
    assert empty.segment.undelivered_readings == 0
    empty.close()


def test_a_write_that_finds_no_room_leaves_the_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    writer = written(tmp_path, 1)
    write, size = os.write, writer.segment.size

    def half(handle: int, data: bytes) -> int:
        if len(data) > 10:
            return write(handle, data[:10])
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as full:
        full.setattr(os, "write", half)
        for shape in (PANELS, batch(AT, 0).shape):
            with pytest.raises(OSError, match="No space"):
                writer.append(batch(AT, 9, shape))
        with pytest.raises(OSError, match="No space"):
            Writer(tmp_path, 2, HEADER)
    assert writer.segment.path.stat().st_size == size == writer.segment.size
    # It goes on as if nothing had been: the shape that was lost is said again.
    writer.append(batch(AT, 7, PANELS))
    writer.sync()
    writer.close()
    content = writer.segment.read()
    assert [each.values[0] for each in content.batches] == [0.0, 1.0, 7.0]
    assert content.damaged_bytes == 0
    assert files(tmp_path) == ["0000000001.open"]
