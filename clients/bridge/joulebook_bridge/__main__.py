"""What ``python -m joulebook_bridge`` runs: the ``joulebook-bridge`` command."""

from joulebook_bridge.cli import run

run()
