"""Let ``python -m joulebook`` do what the ``joulebook`` command does."""

from joulebook.cli import run

if __name__ == "__main__":
    run()
