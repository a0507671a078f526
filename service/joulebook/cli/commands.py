"""The tree of commands, and what all of them share."""

import click

from joulebook import __version__
from joulebook.cli.alerts import alert, letter
from joulebook.cli.bench import bench
from joulebook.cli.care import backup, restore, verify
from joulebook.cli.computing import analyse, recompute
from joulebook.cli.corrections import correction
from joulebook.cli.deep_tests import deep_test
from joulebook.cli.deletion import delete  # noqa: F401 - adds itself to `site`
from joulebook.cli.demo import demo
from joulebook.cli.doctor.command import doctor, health
from joulebook.cli.events import event
from joulebook.cli.evidence import evidence
from joulebook.cli.export import export
from joulebook.cli.ingest import ingest
from joulebook.cli.mappings import mapping
from joulebook.cli.move import move
from joulebook.cli.organisations import organisation
from joulebook.cli.people import person
from joulebook.cli.readings import import_file
from joulebook.cli.serve import serve
from joulebook.cli.set_aside import set_aside
from joulebook.cli.show import show
from joulebook.cli.sign_offs import sign_off
from joulebook.cli.sites import site
from joulebook.cli.tariffs import tariff
from joulebook.cli.tokens import token


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
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


for command in (
    *(
        serve,
        ingest,
        demo,
        site,
        token,
        person,
        organisation,
        mapping,
        import_file,
        recompute,
        analyse,
        show,
        set_aside,
    ),
    *(correction, event, sign_off, deep_test, tariff, alert, letter),
    *(evidence, export, move, backup, restore, verify, bench, doctor, health),
):
    joulebook.add_command(command)
