"""Options that several commands have, each declared once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

To = Annotated[Path, typer.Option(help="Folder to write to.", readable=False)]
"""The folder that files go to."""

Force = Annotated[bool, typer.Option("--force", help="Overwrite files that digitize did not write.")]
"""Whether files of others may be overwritten."""

ForceOne = Annotated[bool, typer.Option("--force", help="Overwrite a file that digitize did not write.")]
"""The same of a command that writes one file."""

Drawings = Annotated[str, typer.Option(help="Drawings to write: dxf, svg, pdf.")]
"""Formats of drawings."""
