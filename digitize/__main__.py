"""`python -m digitize` and the console command."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; every failure becomes a sentence and an exit code."""
    from .cli import app

    app()


if __name__ == "__main__":
    sys.exit(main())
