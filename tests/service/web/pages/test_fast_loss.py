"""Pages of a site whose battery loses its capacity within months."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from tests.helpers.analysed_sites import failing_studio
from tests.helpers.cycled_records import LOST_FAST
from tests.helpers.pages import words_of


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    studio = failing_studio(tmp_path_factory.mktemp("failing"))
    yield studio.client
    studio.database.close()


@pytest.mark.parametrize("page", ["wear", "warranty"])
def test_that_it_goes_fast_is_said_where_capacity_and_warranty_are(
    client: TestClient, page: str
) -> None:
    answer = client.get(f"/sites/studio/{page}")
    assert answer.status_code == 200
    assert "capacity is being lost fast" in words_of(answer.text)


def test_what_is_told_comes_from_the_newest_nights(client: TestClient) -> None:
    document = client.get("/api/v1/sites/studio/wear").json()
    latest = document["capacity_latest"]
    assert latest["method"] == "fast-loss-1"
    true_ah = 200.0 * (1 - 0.01 * 420 / 365.25 - LOST_FAST[420])
    assert latest["low_ah"] < true_ah < latest["high_ah"]
    assert document["fade"]["ratio_per_year"] is None
    assert "lost fast" in document["fade"]["reason"]
