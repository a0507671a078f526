import pickle
from pathlib import Path

import pytest

from joulebook.crew.places import Place, place_of
from joulebook.crew.tasks import Task
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
