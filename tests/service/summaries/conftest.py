import pytest

from joulebook.storage.database import Database
from joulebook.storage.records import Site
from tests.helpers.priced_studio import priced_studio


@pytest.fixture(scope="session")
def priced(tmp_path_factory: pytest.TempPathFactory) -> tuple[Database, Site]:
    """Eight days with a tariff. Read it only: all tests share it."""
    return priced_studio(tmp_path_factory.mktemp("priced"))
