import logging
import re
from collections.abc import Iterator

import pytest

from joulebook.logs import set_up_logs


@pytest.fixture
def logging_as_before() -> Iterator[None]:
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    yield
    root.handlers[:] = handlers
    root.setLevel(level)


@pytest.mark.usefixtures("logging_as_before")
def test_a_line_has_the_time_in_utc_the_level_and_the_place(
    capsys: pytest.CaptureFixture[str],
) -> None:
    set_up_logs("info")
    logging.getLogger("joulebook.ingest").info("took %d readings", 3)
    logging.getLogger("joulebook.ingest").debug("not shown")
    line = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ INFO    joulebook\.ingest: took 3 readings\n"
    assert re.fullmatch(line, capsys.readouterr().err)
