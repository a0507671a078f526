"""Some thousands of what ``python -m tests.fuzz_doors`` sends a hundred thousand of."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests import fuzz_doors
from tests.fuzz_doors import fuzz, fuzz_the_service, main
from tests.helpers.fuzz_decoders import fuzz_codec, fuzz_csv, fuzz_mapped, fuzz_packs
from tests.helpers.mutations import Mutator
from tests.helpers.tallies import Tally


@pytest.mark.parametrize("fuzzed", [fuzz_codec, fuzz_packs, fuzz_mapped])
def test_what_reads_input_has_one_way_to_refuse(fuzzed: Callable[[int, int], Tally]) -> None:
    tally = fuzzed(4000, 2)
    assert tally.exceptions == []
    assert tally.sent == tally.taken + tally.refused == 4000
    assert tally.taken > 100
    assert tally.refused > 1000


def test_files_too(tmp_path: Path) -> None:
    tally = fuzz_csv(60, 2, tmp_path)
    assert tally.exceptions == []
    assert (tally.taken > 5, tally.refused > 5) == (True, True)


def test_a_service_stays_whole_and_stores_what_is_good(tmp_path: Path) -> None:
    tallies, faults = fuzz_the_service(1500, 2, tmp_path)
    assert faults == []
    assert [tally.door for tally in tallies if not tally.clean] == []
    packets, payloads, requests = tallies
    assert packets.sent >= 1500
    assert (packets.taken > 50, packets.refused > 20) == (True, True)
    assert payloads.taken == payloads.sent == 300
    assert (requests.taken > 0, requests.refused > 0) == (True, True)


def test_mutations_are_the_same_for_the_same_seed() -> None:
    corpus = [b"[1,2,3]", b"\x83\x01\x02\x03", b"neither"]
    first, second = Mutator(5, corpus), Mutator(5, corpus)
    assert [first.one() for _ in range(200)] == [second.one() for _ in range(200)]
    assert [first.document() for _ in range(200)] == [second.document() for _ in range(200)]
    assert {first.one() for _ in range(50)} != {Mutator(6, corpus).one() for _ in range(50)}


def test_what_should_not_be_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = Tally("a door", sent=1)
    broken.caught(ZeroDivisionError("found"), b"\x01\x02")
    monkeypatch.setattr(fuzz_doors, "fuzz", lambda *_: ([broken], ["a reading is missing"]))
    monkeypatch.setattr(sys, "argv", ["fuzz_doors", "--packets", "1"])
    with pytest.raises(SystemExit, match="1"):
        main()
    said = capsys.readouterr().out
    assert "a door: ZeroDivisionError('found') for 0102" in said
    assert "NOT SO: a reading is missing" in said
    monkeypatch.setattr(fuzz_doors, "fuzz", lambda *_: ([Tally("a door")], []))
    with pytest.raises(SystemExit, match="0"):
        main()


def test_it_fuzzes_every_door(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fuzz_doors, "fuzz_the_service", lambda *_: ([Tally("service")], ["odd"]))
    tallies, faults = fuzz(200, 3, tmp_path)
    assert [tally.sent for tally in tallies] == [200, 200, 100, 1, 0]
    assert faults == ["odd"]
