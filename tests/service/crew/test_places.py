import gc
import pickle
from collections.abc import Iterator
from pathlib import Path

import pytest

from joulebook.cli import crew_worker
from joulebook.crew.places import Place, kept, place_of, use_own
from joulebook.crew.tasks import Task
from joulebook.errors import UsageError
from joulebook.storage.database import Database, ServerPlace

SECRET = "kiln-at-dawn"


def test_a_file_is_told_by_an_absolute_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    database = Database.open(Path("data"))
    assert place_of(database) == Place(tmp_path / "data")
    database.close()


@pytest.mark.parametrize(
    ("address", "told"),
    [
        (f"postgresql://potter:{SECRET}@db:5432/homes", "postgresql://potter@db:5432/homes"),
        (f"postgresql://potter@[::1]/homes?password={SECRET}", "postgresql://potter@[::1]/homes"),
        (
            f"postgresql://db/homes?sslmode=require&sslpassword={SECRET}",
            "postgresql://db/homes?sslmode=require",
        ),
        ("postgresql:///homes", "postgresql:///homes"),
    ],
)
def test_a_server_is_told_without_its_password(tmp_path: Path, address: str, told: str) -> None:
    pytest.importorskip("psycopg")
    database = Database(tmp_path, ServerPlace(url=address, connections=40, wait_s=7.0))
    place = place_of(database)
    database.close()
    assert place.server == ServerPlace(url=told, connections=5, wait_s=7.0)
    sent = pickle.dumps((Task(kind="analyse", site="studio", max_gap_s=300.0), place))
    assert SECRET.encode() not in sent
    assert pickle.loads(sent)[1] == place
    assert told not in repr(place)


@pytest.fixture
def worker(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """This process, made ready as a worker whose settings name a server with a password."""
    pytest.importorskip("psycopg")
    pytest.importorskip("dask")
    monkeypatch.setenv("JOULEBOOK_DATABASE", f"postgresql://potter:{SECRET}@db/homes")
    monkeypatch.setenv("JOULEBOOK_DATABASE_CONNECTIONS", "4")
    crew_worker.dask_setup(object())
    gc.unfreeze()
    yield
    use_own(None)


@pytest.mark.usefixtures("worker")
def test_a_worker_uses_its_own_password_for_the_server_that_it_is_told(tmp_path: Path) -> None:
    place = Place(tmp_path, ServerPlace(url="postgresql://potter@db/homes"))
    database = kept(place)
    own = ServerPlace(url=f"postgresql://potter:{SECRET}@db/homes", connections=4)
    assert database.server == own
    assert kept(place) is database
    database.close()


@pytest.mark.usefixtures("worker")
@pytest.mark.parametrize("told", [None, ServerPlace(url="postgresql://potter@db/others")])
def test_a_worker_computes_in_no_other_database_than_its_own(
    tmp_path: Path, told: ServerPlace | None
) -> None:
    with pytest.raises(UsageError, match="this worker's own setting names") as caught:
        kept(Place(tmp_path, told))
    assert SECRET not in str(caught.value)
