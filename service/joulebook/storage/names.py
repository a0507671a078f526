"""The form of names that stand in addresses and topics."""

import re

from joulebook.errors import UsageError

_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")

#: What stands before the name of a site that is being moved here and is not whole yet: no name
#: that anybody gives begins so, and no list of sites has it.
COMING = "~"
#: The condition of a statement for sites that are whole.
IS_WHOLE = f"sites.name NOT LIKE '{COMING}%'"


def check_name(what: str, name: str) -> None:
    """Raise UsageError where a name does not do for what is to be named."""
    if _NAME.fullmatch(name) is None:
        raise UsageError(
            f"{name!r} cannot be the name of {what}",
            where="name",
            expected="1 to 63 of a-z, 0-9 and -, with a letter or digit first",
            next_step="choose a name such as 'studio'",
        )
