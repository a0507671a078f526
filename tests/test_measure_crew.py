"""The measurement of crews runs, and finds equal results."""

from pathlib import Path

import pytest

from tests.helpers.crews import needs_distributed


@pytest.mark.outside
def test_threads_and_workers_are_measured_over_the_same_homes(tmp_path: Path) -> None:
    needs_distributed()
    from tests.measure_crew import measure

    told = measure(tmp_path, homes=2, days=1, rounds=1)
    [one] = told["rounds"]
    assert one["equal"]
    assert one["dask"]["processor_s"] > 0
    assert told["seconds_dask_over_threads"] == pytest.approx(
        one["dask"]["seconds"] / one["threads"]["seconds"], abs=0.001
    )
