"""Machines from round constants, each reckoned by hand beside it."""

import json
from itertools import chain
from pathlib import Path

import pytest

from joulebook.bench.fleet_constants import constants_of
from joulebook.bench.fleet_machines import BEGIN, END, machines_text, write_machines
from joulebook.bench.fleet_plan import STEPS, FleetPlan, homes_at
from joulebook.bench.fleet_words import WORDS
from joulebook.errors import UsageError
from joulebook.ingest.decode import MOST_TOPICS
from tests.helpers.fleet_runs import round_run


def test_constants_are_shares_of_the_rounds_with_most_homes() -> None:
    found = constants_of(round_run())
    assert found.homes == 1000
    assert found.decode_s == pytest.approx(0.1e-3)  # 10 s for 100,000 messages
    assert found.store_s == pytest.approx(0.4e-3)  # the rest of 50 s
    assert found.log_bytes == pytest.approx(200)  # 100 MB for 500,000 readings
    assert found.vacuum_s == pytest.approx(10e-6)  # 0.99 s for 99,000 rows more
    assert found.page_s == pytest.approx(0.030)


def test_ten_thousand_homes_by_hand() -> None:
    step = FleetPlan(constants_of(round_run())).step(10_000)
    assert step.readings_s == 20_000  # 20 quantities every 10 s
    assert step.messages_s == 4_000  # of four devices
    assert step.decode_cores == pytest.approx(0.4)
    assert step.copies == 4  # 4000 of 0.5 ms are 2 s each second, of which half may be in use
    assert step.server_cores == pytest.approx(1.6 + 10_000 * 0.02 / 86_400)
    assert step.log_bytes_s == pytest.approx(4e6)
    assert step.disk_bytes_s == pytest.approx(4e6 + 20_000 * (30 + 0.5 + 0.5))
    assert step.hot_bytes == pytest.approx(20_000 * 86_400 * 3 * 30)  # today and two days
    assert step.year_bytes == pytest.approx(20_000 * 86_400 * 365.25 * 0.5)
    assert step.night_cores == pytest.approx(10_000 * (0.05 + 365.25 * 0.01) / 21_600)
    assert step.ten_year_cores == pytest.approx(10_000 * (0.05 + 3652.5 * 0.01) / 21_600)
    assert step.page_s == pytest.approx(0.030 * 10**0.1)
    assert step.order_s == pytest.approx(20)
    # Commits: 4000 of 0.4 ms are 1.6 s of each half second; room is 156 + 316 GB of 4 TB.
    assert step.servers == 4
    assert step.machines == 5  # and one for 0.4 + 1.7 cores


def test_a_million_homes_take_several_servers() -> None:
    step = FleetPlan(constants_of(round_run())).step(1_000_000)
    # Commits: 160 s of each half second; cores are 160.2 of 8, room is 15.55 + 31.56 TB of 4.
    assert step.servers == 320
    # 40 cores of copies and 171.4 of the night, 8 a machine: 27.
    assert step.machines == 320 + 27


def test_what_is_small_has_two_copies_so_that_one_may_be_away() -> None:
    assert FleetPlan(constants_of(round_run())).step(1000).copies == 2


def test_what_breaks_first_by_hand() -> None:
    breaks = FleetPlan(constants_of(round_run())).breaks()
    assert breaks[0] == ("writer", 2500)  # 1000 messages/s of 0.5 ms are half of each second
    assert breaks[1] == ("commits", 3130)  # 1250 messages/s of 0.4 ms, to three digits
    at = dict(breaks)
    assert set(at) == set(WORDS)
    assert at["topics"] == 16_400  # 65,536 / 4, to three digits
    assert MOST_TOPICS == 65_536
    assert at["list"] == 20_000  # 0.05 s for 1000 homes, and 1 s is the most
    assert at["sealer"] == 2_160_000  # 43,200 s a day of 20 ms
    assert at["today"] == 18_000  # half a day's 50 ms of each; 450 of 900 s may be in use
    assert at["watch"] == 100_000  # 0.3 s for 1000 homes, and 30 s of each minute
    assert at["back"] == 6_000  # 100 ms of each, and 10 s of each minute of an hour
    assert at["broker"] == 62_500  # 25,000 messages/s
    assert [homes for _, homes in breaks] == sorted(at.values())


def test_a_step_names_what_breaks_since_the_one_before() -> None:
    plan = FleetPlan(constants_of(round_run()))
    named = [plan.step(homes).breaks for homes in STEPS]
    assert named[0] == []
    assert named[1][0] == "writer"
    at = dict(plan.breaks())
    assert sorted(chain.from_iterable(named)) == sorted(key for key in at if at[key] <= STEPS[-1])


def test_a_cost_that_grows_faster_than_homes_is_dearer_beyond_what_was_measured() -> None:
    document = round_run()
    [ingest] = [each for each in document["costs"] if each["key"] == "ingest"]
    ingest["exponent"]["exponent"] = 1.1
    plan = FleetPlan(constants_of(document))
    # 100 times the homes that were measured: 100 ** 0.1 times as dear.
    assert plan.decode_cores(100_000) == pytest.approx(4 * 100**0.1)
    assert plan.decode_cores(500) == pytest.approx(0.02)


def test_a_share_that_is_never_reached_is_far_away() -> None:
    assert homes_at(lambda _: 0.0) > 1e12


def test_the_page_says_what_was_calculated(tmp_path: Path) -> None:
    page = tmp_path / "fleet.md"
    page.write_text(f"# Mine\n\n{BEGIN}\nold\n{END}\n\n## Mine too\n", encoding="utf-8")
    write_machines(page, round_run())
    told = page.read_text(encoding="utf-8")
    assert told.startswith(f"# Mine\n\n{BEGIN}\n## Machines for many homes: a calculation\n")
    assert told.endswith(f"\n{END}\n\n## Mine too\n")
    assert "old" not in told.split()
    assert "| ingest copies, two at least | 2 | 4 | 40 | 400 |" in told
    assert "| sealed in a year, GB | 31.6 | 316 | 3,156 | 31,558 |" in told
    assert "| 2,500 | one ingest process, which commits" in told
    assert "- Up to **1,000 homes**: nothing more breaks." in told
    assert "- Up to **10,000 homes**: first one writer" in told
    assert "| cost of ingest | 500 ms | 50 s | 50 ms | 1.00 (0.98 to 1.02) |" in told
    assert "wanted: it holds" in told
    assert "not quiet" not in told
    write_machines(page, round_run())
    assert page.read_text(encoding="utf-8") == told


def test_the_page_says_of_a_busy_machine_and_of_what_missed() -> None:
    document = round_run()
    document["machine"]["load_before"] = 7.5
    document["conditions"]["nice"] = 10
    document["costs"][0]["holds"] = False
    told = machines_text(document)
    assert "**The machine was not quiet:**" in told
    assert "at nice 10" in told
    assert "wanted: missed by cost of arrive" in told


@pytest.mark.parametrize(("what", "words"), [("quick", "a quick run"), ("file", "measured a file")])
def test_a_run_that_means_nothing_for_many_homes_is_refused(what: str, words: str) -> None:
    document = round_run()
    if what == "quick":
        document["conditions"]["quick"] = True
    else:
        for each in document["rounds"]:
            each["log"] = None
    with pytest.raises(UsageError, match=words):
        machines_text(document)


def test_a_page_without_the_marks_is_left_alone(tmp_path: Path) -> None:
    page = tmp_path / "fleet.md"
    page.write_text("# Mine\n", encoding="utf-8")
    with pytest.raises(UsageError, match="no place for what a run says"):
        write_machines(page, round_run())
    assert page.read_text(encoding="utf-8") == "# Mine\n"


def test_the_page_of_the_house_is_that_of_its_run() -> None:
    folder = Path(__file__).parents[3] / "docs" / "operating"
    document = json.loads((folder / "fleet-run.json").read_text(encoding="utf-8"))
    page = (folder / "fleet.md").read_text(encoding="utf-8")
    _, _, rest = page.partition(f"{BEGIN}\n")
    assert rest.partition(END)[0] == machines_text(document)
