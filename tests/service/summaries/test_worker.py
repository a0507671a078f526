import threading
from contextlib import closing
from datetime import timedelta
from multiprocessing import Pipe
from pathlib import Path

import pytest

from joulebook.summaries.stretches import Stretch, compute_encoded
from joulebook.summaries.worker import answer
from tests.helpers.stored_plants import FIRST, LAST, plant_studio


def test_it_answers_until_the_pipe_is_closed(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    first, last = (
        Stretch(site=site, days=days, max_gap_s=300.0)
        for days in ([FIRST, FIRST + timedelta(days=1)], [LAST])
    )
    ours, theirs = Pipe()
    with theirs, closing(database.connect()) as connection:
        thread = threading.Thread(target=answer, args=(theirs, tmp_path))
        thread.start()
        for stretch in (first, last):
            ours.send(stretch)
            assert ours.recv() == compute_encoded(connection, stretch)
        ours.close()
        thread.join(20.0)
        assert not thread.is_alive()
    database.close()


def test_a_fault_of_the_database_ends_it(tmp_path: Path) -> None:
    ours, theirs = Pipe()
    with ours:
        with theirs:
            answer(theirs, tmp_path)  # nothing is there
        with pytest.raises(EOFError):
            ours.recv()
