"""Declarations of the commands `new analyzer` and `new generator`."""

from pathlib import Path
from typing import Annotated

import typer

Folder = Annotated[Path, typer.Argument(help="Where to write.")]
AnswersFile = Annotated[
    Path | None,
    typer.Option("--answers", metavar="FILE", help="Answers as TOML, in place of questions."),
]

app = typer.Typer(rich_markup_mode=None)


@app.command()
def analyzer(folder: Folder = Path(), answers: AnswersFile = None) -> None:
    """Write data file, command set and bench file of an analyzer."""
    from .new_command import new_analyzer

    raise typer.Exit(new_analyzer(folder, answers))


@app.command()
def generator(folder: Folder = Path(), answers: AnswersFile = None) -> None:
    """Write data file and command set of a generator."""
    from .new_command import new_generator

    raise typer.Exit(new_generator(folder, answers))
