"""In which line of a TOML file a key stands; the standard library's reader does not tell."""

import re

_TABLE = re.compile(r"\s*\[\[\s*([\w.-]+)\s*\]\]")
_KEY = re.compile(r"\s*(?:\"([^\"]+)\"|'([^']+)'|([\w-]+))\s*[=.]")

#: Tables entered, innermost last: name and how many of it came before within its parent.
Path = tuple[tuple[str, int], ...]


class Places:
    """Lines of keys in a file that is made of ``[[table]]`` and ``[[table.inner]]`` headers."""

    def __init__(self, text: str) -> None:
        self._lines: dict[tuple[Path, str | None], int] = {}
        at: Path = ()
        counts: dict[tuple[Path, str], int] = {}
        for number, line in enumerate(text.splitlines(), start=1):
            header = _TABLE.match(line)
            if header:
                *parents, name = header[1].split(".")
                parent = at[: len(parents)]
                seen = counts[parent, name] = counts.get((parent, name), -1) + 1
                at = (*parent, (name, seen))
                self._lines[at, None] = number
            elif key := _KEY.match(line):
                self._lines.setdefault((at, next(filter(None, key.groups()))), number)

    def line(self, at: Path, key: str | None = None) -> int:
        """Return the line of a key, or that of the nearest thing around it that has one."""
        for place in ((at, key), (at, None)):
            if place in self._lines:
                return self._lines[place]
        return self.line(at[:-1], at[-1][0]) if at else 1
