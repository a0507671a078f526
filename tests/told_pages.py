"""Parts of pages that a command writes, between two comments that name them."""

import re


def replaced(page: str, name: str, text: str) -> str:
    """Return a page with another text between ``<!-- name -->`` and ``<!-- end of name -->``."""
    begin, end = f"<!-- {name} -->", f"<!-- end of {name} -->"
    pattern = re.compile(f"{re.escape(begin)}.*{re.escape(end)}", flags=re.DOTALL)
    new, count = pattern.subn(lambda _: f"{begin}\n{text}\n{end}", page)
    if count != 1:
        raise ValueError(f"the page has {count} places for {name!r}")
    return new
