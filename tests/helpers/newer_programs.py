"""A joulebook of next year: this one, with a schema that is one step further."""

import shutil
from pathlib import Path

import joulebook
from joulebook.storage.schema import newest_schema

#: Its schema.
NEWER = "9999"

_MIGRATION = f'''"""A fact more, as migrations add them: older programs do without it."""

from alembic import op

revision = "{NEWER}"
down_revision = "{newest_schema()}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("ALTER TABLE sites ADD COLUMN glaze VARCHAR")
'''


def newer_program(folder: Path) -> Path:
    """Put the newer program into a folder; return what PYTHONPATH must name."""
    (home,) = joulebook.__path__
    shutil.copytree(home, folder / "joulebook", ignore=shutil.ignore_patterns("__pycache__"))
    versions = folder / "joulebook" / "storage" / "migrations" / "versions"
    (versions / f"{NEWER}_glaze.py").write_text(_MIGRATION, encoding="utf-8")
    return folder
