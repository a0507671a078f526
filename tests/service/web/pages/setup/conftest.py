import shutil
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Value
from joulebook.summaries.recompute import recompute
from joulebook.web.access.actor import Actor
from joulebook.web.access.who import actor_of
from tests.helpers.databases import write
from tests.helpers.pages import HOUR_MS, NOW_MS, Studio, client_of, empty_studio


@pytest.fixture(scope="session")
def heard_dir(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data directory of a studio with two devices, heard each hour of the last day."""
    data_dir = tmp_path_factory.mktemp("heard")
    studio = empty_studio(data_dir)
    hours = range(NOW_MS - 24 * HOUR_MS, NOW_MS, HOUR_MS)
    with closing(studio.database.connect()) as connection:
        battery = (Column("power", "W"), Column("charge_energy", "Wh"), Column("soc", "/"))
        rows = {at: {"power": 400.0, "charge_energy": 1000.0, "soc": 0.5} for at in hours}
        write(connection, studio.site, "battery", rows, battery)
        kiln = (Column("heat", "Cel"), Column("door", "", "flag"), Column("state", "", "text"))
        warm: dict[int, dict[str, Value]] = {
            at: {"heat": 900.0, "door": False, "state": "firing"} for at in hours
        }
        write(connection, studio.site, "kiln", warm, kiln)
    recompute(studio.database, studio.site, clock_ms=lambda: NOW_MS)
    studio.database.close()
    return data_dir


@pytest.fixture
def heard(heard_dir: Path, tmp_path: Path) -> Studio:
    """A copy of that studio to write to."""
    shutil.copytree(heard_dir, tmp_path, dirs_exist_ok=True)
    database = Database.open(tmp_path)
    return Studio(client_of(database), database, site_named(database, "studio"))


@pytest.fixture
def seen(heard: Studio) -> Studio:
    """The same studio, asked by somebody who may see it and not change it."""
    client = client_of(heard.database)
    viewer = Actor(name="rui", kind="person", at={heard.site.id: "viewer"})
    client.app.dependency_overrides[actor_of] = lambda: viewer  # type: ignore[attr-defined]
    return Studio(client, heard.database, heard.site)
