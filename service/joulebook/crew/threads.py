"""A crew of threads in this process: what is there when there is no scheduler."""

import threading
from concurrent.futures import ThreadPoolExecutor

from joulebook.crew.runs import Tell
from joulebook.crew.tasks import Task, perform
from joulebook.storage.database import Database
from joulebook.summaries.threads import WORKERS


class ThreadCrew:
    """Does tasks in threads; a home of many days has its second process, as ever.

    Parameters
    ----------
    database : Database
        Where the homes' readings are.
    threads : int, optional
        How many tasks are done at a time. By default two where a server looks up readings
        meanwhile, and one with a file: two would wait for Python's lock at every row, and be
        slower than one.
    """

    def __init__(self, database: Database, *, threads: int | None = None) -> None:
        self._database = database
        self._threads = threads or (1 if database.server is None else WORKERS)
        self._stopping = threading.Event()
        self._pool = ThreadPoolExecutor(self._threads, thread_name_prefix="crew")

    def room(self) -> int:
        """Return one task more than there are threads: none waits until the next is handed out."""
        return self._threads + 1

    def begin(self, task: Task, tell: Tell) -> None:
        """Have a task done in the next thread that is free."""
        self._pool.submit(self._do, task, tell)

    def drop(self) -> None:
        """Forget what has not begun, and end what has after its next few days."""
        self._stopping.set()
        self._pool.shutdown(cancel_futures=True)

    def _do(self, task: Task, tell: Tell) -> None:
        tell(perform(task, self._database, helped=True, stopping=self._stopping.is_set))
