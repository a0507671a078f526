"""Work on two threads, its results in order and never far ahead of who takes them."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

#: Unpacking readings and adding up long arrays leave Python's lock to others, the rest does not:
#: two threads gain something, and more would only wait. Hand them months, never single days.
WORKERS = 2

#: For processes that analyse records: matrices are small, and threads of a linear algebra library
#: would only wait for each other.
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

Task = TypeVar("Task")
Done = TypeVar("Done")


def in_threads(
    work: Callable[[Task], Done], tasks: Iterable[Task], *, ahead: int = WORKERS
) -> Iterator[Done]:
    """Yield ``work(task)`` for each task in their order.

    What is raised by the work is raised here, once all before it was yielded. Who stops taking
    results waits only for the work that is being done.

    Parameters
    ----------
    ahead : int
        How many tasks may be begun or done before one that is still awaited.
    """
    begun: deque[Future[Done]] = deque()
    with ThreadPoolExecutor(WORKERS, thread_name_prefix="summaries") as pool:
        try:
            for task in tasks:
                begun.append(pool.submit(work, task))
                if len(begun) > ahead:
                    yield begun.popleft().result()
            while begun:
                yield begun.popleft().result()
        finally:
            for each in begun:
                each.cancel()
