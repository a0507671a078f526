"""The command line, and the one place that puts the service together.

Answers go to standard output; logs, progress and errors go to standard error. Exit status: 0 done,
1 a bug, 2 usage or settings, 3 something we need is away, 4 data we must not touch.
"""

import sys
from collections.abc import Sequence

import click

from joulebook.cli.commands import joulebook
from joulebook.errors import JoulebookError


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; errors for the operator are four lines."""
    try:
        status = joulebook.main(args=argv, prog_name="joulebook", standalone_mode=False)
    except JoulebookError as error:
        return _tell(str(error), error.exit_status)
    except click.UsageError as error:
        return _tell(_four_lines(error), 2)
    except (KeyboardInterrupt, click.Abort):
        return 130
    # A command that has said everything already ends with `click.exceptions.Exit`.
    return status if isinstance(status, int) else 0


def run() -> None:
    """Entry point of the ``joulebook`` command."""
    sys.exit(main())


def _tell(text: str, status: int) -> int:
    print(f"joulebook: {text}", file=sys.stderr)
    return status


def _four_lines(error: click.UsageError) -> str:
    context = error.ctx
    path = context.command_path if context else "joulebook"
    # A long usage comes wrapped, for it is meant to stand alone.
    usage = " ".join(context.get_usage().split()) if context else "joulebook COMMAND"
    error_line = error.format_message().splitlines()[0]
    return (
        f"{error_line}\n  where:    {path}\n  expected: {usage.removeprefix('Usage: ')}\n"
        f"  next:     {path} --help shows examples"
    )
