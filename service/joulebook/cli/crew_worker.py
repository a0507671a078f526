"""Gets a Dask worker ready: ``dask worker … --preload joulebook.cli.crew_worker``.

It gives the worker the server that its own settings name, with the password that no task carries.
"""

import os

from joulebook.cli.options import server_place
from joulebook.crew.places import use_own
from joulebook.crew.preload import dask_setup as make_ready
from joulebook.settings import load_settings


def dask_setup(worker: object) -> None:
    """Read the settings of the environment; Dask calls this in each worker."""
    use_own(server_place(load_settings("", os.environ)))
    make_ready(worker)
