"""A second process that computes stretches for one that asks: ``joulebook.summaries.processes``.

It reads the database and writes nothing, and ends when the other side of its pipe does.
"""

import gc
import os
import sys
from contextlib import closing
from multiprocessing.connection import Connection as Pipe
from pathlib import Path

from joulebook.errors import JoulebookError
from joulebook.storage.database import Database, server_of
from joulebook.summaries.stretches import compute_encoded


def answer(pipe: Pipe, data_dir: Path) -> None:
    """Take :class:`Stretch` after :class:`Stretch` and send back what was computed.

    A fault of the database ends this process: who asked computes the stretch itself, meets the
    fault, and names it where its words are heard.
    """
    database = Database(data_dir, server_of(os.environ))
    try:
        with closing(database.connect()) as connection:
            while True:
                pipe.send(compute_encoded(connection, pipe.recv()))
    except (EOFError, OSError, JoulebookError):
        return
    finally:
        database.close()


if __name__ == "__main__":
    gc.freeze()  # what was imported is not garbage: looking through it took a twentieth of the time
    with Pipe(int(sys.argv[1])) as _pipe:
        answer(_pipe, Path(sys.argv[2]))
