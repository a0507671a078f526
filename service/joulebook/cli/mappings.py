"""``joulebook mapping``: what a mapping file makes of a message, without storing anything."""

import json
from pathlib import Path
from typing import Any

import click

from joulebook.cli.options import clock_ms, json_option
from joulebook.ingest.decode import Decoder
from joulebook.ingest.mapping.file import read_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message
from joulebook.ingest.outcomes import Decoded
from joulebook.ingest.wording import shown_time


@click.group()
def mapping() -> None:
    """Take in what another bridge publishes, by a file that says where each reading is."""


@mapping.command("try")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--topic", required=True, metavar="T", help="Topic of a message.")
@click.option("--payload", required=True, metavar="P", help="Its payload.")
@json_option
def try_one(file: Path, topic: str, payload: str, *, as_json: bool) -> None:
    """Show what would be stored of one message with the mapping FILE. Stores nothing.

    \b
    Example: joulebook mapping try kiln.toml --topic kiln/2/meter --payload '{"watts": 1450}'
    """
    mappings = Mappings(read_mappings(file))
    message = Message(topic, payload.encode(), clock_ms(), "mapping try", None, None)
    sites: list[str] = []

    def site_id_of(name: str) -> int:
        sites.append(name)
        return 1

    decoded = Decoder(site_id_of, mappings).decode(message)
    told = _told(decoded, sites[0] if sites else None)
    print(json.dumps(told, indent=2) if as_json else "\n".join(_lines(told)))


def _told(decoded: Decoded, site: str | None) -> dict[str, Any]:
    return {
        "verdict": decoded.verdict.value,
        "readings": [
            {
                "series": f"{site}/{layout.device}/{column.quantity}",
                "value": value,
                "unit": column.unit,
                "at": shown_time(at_ms),
            }
            for layout, at_ms, row in decoded.rows
            for column, value in zip(layout.columns, row[1:], strict=True)
        ],
        "set_aside": [
            {"reason": refused.reason, "detail": refused.detail} for refused in decoded.refused
        ],
    }


def _lines(told: dict[str, Any]) -> list[str]:
    stored = [
        f"stores {one['series']} = {one['value']} {one['unit']}".rstrip() + f" at {one['at']}"
        for one in told["readings"]
    ]
    aside = [f"sets aside {one['reason']}: {one['detail']}" for one in told["set_aside"]]
    return [*stored, *aside] or ["stores nothing: the payload says that nothing was measured"]
