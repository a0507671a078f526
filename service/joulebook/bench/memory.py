"""How much memory the service takes while somebody looks at a year."""

import urllib.error
import urllib.request
from collections.abc import Sequence
from pathlib import Path

from joulebook.bench.serving import PATIENCE_S, served_pages


def peak_mb(
    data_dir: Path, paths: Sequence[str], *, command: Sequence[str] = ("-m", "joulebook")
) -> float | str:
    """Serve a data directory, ask for pages one after the other, and return the peak. [MB]

    Where it cannot be had, the reason comes back.
    """
    with served_pages(data_dir, command=command) as served:
        if served is None:
            return "the service did not start"
        try:
            for path in paths:
                with urllib.request.urlopen(served.url + path, timeout=PATIENCE_S) as answer:
                    answer.read()
            return served.peak_mb()
        except urllib.error.HTTPError as error:
            return f"{error.url.removeprefix(served.url)} was answered with {error.code}"
        except OSError as error:
            return f"the service or its memory could not be read: {error}"
