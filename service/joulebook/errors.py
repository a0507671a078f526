"""Errors that a person can act on; anything else is a bug and keeps its traceback.

::

    JoulebookError            exit status
    ├── UsageError            2  the command, a setting or a file's form is wrong
    ├── UnavailableError      3  something we need is away: worth another try
    └── DataRefusedError      4  data that we must not touch
        └── SchemaError       4  the database is not one that this version knows
"""


class JoulebookError(Exception):
    """What went wrong, where, what was expected there, and what to do next.

    Prints as four lines. Over HTTP the same four parts become an RFC 9457 problem document.
    """

    exit_status = 1

    def __init__(self, what: str, *, where: object, expected: str, next_step: str) -> None:
        super().__init__(what)
        self.what = what
        self.where = str(where)
        self.expected = expected
        self.next_step = next_step

    def __str__(self) -> str:
        return (
            f"{self.what}\n"
            f"  where:    {self.where}\n"
            f"  expected: {self.expected}\n"
            f"  next:     {self.next_step}"
        )


class UsageError(JoulebookError):
    """The command line, a setting or the form of a file is wrong."""

    exit_status = 2


class UnavailableError(JoulebookError):
    """Something that we need is away: a port, a broker, a locked file."""

    exit_status = 3


class DataRefusedError(JoulebookError):
    """Data that we must not touch: damaged, or somebody else's."""

    exit_status = 4


class SchemaError(DataRefusedError):
    """The database file is newer than the program, or no database of ours."""
