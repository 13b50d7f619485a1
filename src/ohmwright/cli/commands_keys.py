"""Declarations of the commands `record keys …`: signing keys and the list of trusted keys."""

from pathlib import Path
from typing import Annotated

import typer

from .options import Json, RecordsPlace, Trusted

app = typer.Typer(
    help="See and make signing keys; say which to trust.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

KeyArgument = Annotated[str, typer.Argument(metavar="KEY", help="Fingerprint or public key.")]


@app.command("list")
def list_(records: RecordsPlace = None, trusted: Trusted = None, as_json: Json = False) -> None:
    """Show your own key, the keys you trust, and those that have signed what is on record."""
    from .keys_command import list_keys

    raise typer.Exit(list_keys(records, trusted, as_json=as_json))


@app.command()
def new(
    source: Annotated[
        Path | None, typer.Option("--from", metavar="FILE", help="Take this key (PEM) instead.")
    ] = None,
) -> None:
    """Make your signing key. The first run does so too, where this computer never had one."""
    from .keys_command import new_key

    new_key(source)


@app.command()
def trust(
    key: KeyArgument,
    name: Annotated[str, typer.Option("--name", metavar="WHO", help="Whose it is.")] = "",
    records: RecordsPlace = None,
    trusted: Trusted = None,
) -> None:
    """Trust what a key has sealed, once you have compared its fingerprint with its owner."""
    from .keys_command import trust_key

    trust_key(key, name, records, trusted)


@app.command()
def distrust(key: KeyArgument, records: RecordsPlace = None, trusted: Trusted = None) -> None:
    """Trust a key no longer, as when it was lost or copied."""
    from .keys_command import distrust_key

    distrust_key(key, records, trusted)


@app.command()
def vouch(
    key: KeyArgument,
    name: Annotated[str, typer.Option("--name", metavar="WHO", help="Whose it is.")] = "",
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="Vouch for it no longer, as when it was lost.")
    ] = False,
    records: RecordsPlace = None,
) -> None:
    """Keep with the records that you trust a key, signed with yours, for all who trust you."""
    from .keys_command import vouch_for_key

    vouch_for_key(key, "distrust" if withdraw else "trust", name, records)
