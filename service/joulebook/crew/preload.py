"""Gets a Dask worker ready, or a scheduler: ``dask worker … --preload joulebook.crew.preload``.

Not needed for right numbers, only for quick ones.
"""

import gc

import dask

import joulebook.crew.tasks  # noqa: F401 -- imported before the first task asks for it

# Read by the worker after this module: a look at every stack each hundredth of a second would
# tell us nothing.
dask.config.set({"distributed.worker.profile.enabled": False})


def dask_setup(_server: object) -> None:
    """Keep what was imported out of the search for garbage; Dask calls this in each process."""
    gc.collect()
    gc.freeze()
