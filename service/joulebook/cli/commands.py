"""The tree of commands, and what all of them share."""

from importlib import import_module
from typing import cast

import click

from joulebook import __version__

# Where each command is, in the order of the help. It is loaded when it is asked for: a service
# holds no benchmark in its memory, and a short command does not wait for the pages.
_WHERE = {
    "serve": "serve:serve",
    "ingest": "ingest:ingest",
    "demo": "demo:demo",
    "site": "deletion:site",  # with the one that deletes it, which needs more than the others
    "token": "tokens:token",
    "person": "people:person",
    "organisation": "organisations:organisation",
    "mapping": "mappings:mapping",
    "import": "readings:import_file",
    "recompute": "computing:recompute",
    "analyse": "computing:analyse",
    "show": "show:show",
    "set-aside": "set_aside:set_aside",
    "correction": "corrections:correction",
    "event": "events:event",
    "sign-off": "sign_offs:sign_off",
    "deep-test": "deep_tests:deep_test",
    "tariff": "tariffs:tariff",
    "alert": "alerts:alert",
    "letter": "alerts:letter",
    "evidence": "evidence:evidence",
    "export": "export:export",
    "move": "move:move",
    "backup": "care:backup",
    "restore": "care:restore",
    "verify": "care:verify",
    "bench": "bench:bench",
    "doctor": "doctor.command:doctor",
    "health": "doctor.command:health",
}


class Commands(click.Group):
    """A group whose commands are imported one by one, as they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, in the order of the help."""
        del ctx
        return list(_WHERE)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, ``None`` where there is none of that name."""
        del ctx
        return command_named(cmd_name) if cmd_name in _WHERE else None


def command_named(name: str) -> click.Command:
    """Return the command of a name.

    Raises
    ------
    KeyError
        If there is none.
    """
    module, _, attribute = _WHERE[name].partition(":")
    return cast(click.Command, getattr(import_module(f"joulebook.cli.{module}"), attribute))


def command_names() -> tuple[str, ...]:
    """Return the names of all commands."""
    return tuple(_WHERE)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="joulebook")
def joulebook() -> None:
    """Log a home battery and inverter, and say how they do.

    joulebook measures and reports. It never switches or controls anything.

    \b
    Try it:        joulebook demo
    Own equipment: joulebook site add studio --timezone Europe/Lisbon --data DIR
                   joulebook token add shed --site studio --data DIR
                   joulebook serve --data DIR
    """
