"""Options that several commands about records share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Records = Annotated[
    str | None,
    typer.Option(
        metavar="PLACE",
        envvar="OHMWRIGHT_RECORDS",
        help="Records: a folder, a .sqlite file or a postgresql:// URL; default: the user's own.",
    ),
]
Trusted = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        envvar="OHMWRIGHT_TRUSTED_KEYS",
        help="Trust the keys of this list alone; default: the user's own list and own keys.",
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
