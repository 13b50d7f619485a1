"""The command `rehearse`: a procedure tried on many invented units, in virtual time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.progress import Progress
from rich.table import Table

from ohmwright.api.output_file import refuse_no_picture, refuse_unwritable
from ohmwright.api.paths import given_procedure
from ohmwright.api.picture_file import write_picture
from ohmwright.model.errors import Stopped
from ohmwright.rehearsal.from_files import rehearsed_files
from ohmwright.rehearsal.outcome import UnitOutcome
from ohmwright.rehearsal.rehearse import Rehearsal, Sharing, rehearsal_names, rehearse_units
from ohmwright.rehearsal.unit_run import Rehearsed

from .console import err, out, print_json
from .rehearsal_tables import comparison_table, summary_tables
from .table_format import with_whole_words

_STOPPED = 4
"""Exit code of a rehearsal that was stopped before its last unit."""
_DPI = 120
"""Of its picture: 1320 by 960 pixels."""


@dataclass(frozen=True)
class RehearseRequest:
    """A rehearsal as asked for on the command line."""

    procedure: Path
    bench: Path
    units: int
    seed: int
    workers: int | None
    cluster: str | None
    like: str | None
    compare: Path | None
    plot: Path | None
    slips: float
    overwrite: bool
    unattended: bool
    as_json: bool


def run_rehearse(request: RehearseRequest) -> int:
    """Rehearse and print; return 0, or 4 where it was stopped before the last unit."""
    if request.plot is not None:
        refuse_no_picture(request.plot, option="--plot", means="Nothing was rehearsed.")
        refuse_unwritable(request.plot, overwrite=request.overwrite)
    named = [one for one in (request.procedure, request.compare) if one is not None]
    files = list(map(given_procedure, named))
    both = rehearsed_files(
        files,
        request.bench,
        seed=request.seed,
        like=request.like,
        unattended=request.unattended,
        slips=request.slips,
    )
    done = _with_progress(both, request)
    if not done[0].outcomes:
        raise Stopped("The rehearsal was stopped before its first unit was done.")
    _print(done, as_json=request.as_json)  # first, for a full disk must not take it
    if request.plot is not None:
        write_picture(done[0].plot(*done[1:]), request.plot, dpi=_DPI)
    return 0 if len(done[0].outcomes) == done[0].wanted else _STOPPED


def _with_progress(both: tuple[Rehearsed, ...], request: RehearseRequest) -> tuple[Rehearsal, ...]:
    with Progress(console=err(), transient=True, disable=not err().is_terminal) as progress:
        task = progress.add_task("units", total=request.units * len(both))

        def advance(_: UnitOutcome) -> None:
            progress.advance(task)

        sharing = Sharing(request.workers, request.cluster)
        return rehearse_units(both, request.units, sharing, advance)


def _print(done: Sequence[Rehearsal], *, as_json: bool) -> None:
    differences = list(done[0].compare(done[1]).values()) if len(done) > 1 else []
    if as_json:
        documents = [
            {"simulated": True, "procedure": str(r.rehearsed.file.path), "title": r.title}
            | {"digest": r.rehearsed.file.digest, "seed": r.rehearsed.seed}
            | r.summary.as_json()
            for r in done
        ]
        compared_json = [asdict(one) | {"units_to_tell": one.units_to_tell} for one in differences]
        print_json({"rehearsals": documents, "comparison": compared_json})
        return
    for rehearsal, name in zip(done, rehearsal_names(done), strict=True):
        for block in summary_tables(rehearsal, name):
            out().print(with_whole_words(block) if isinstance(block, Table) else block)
    if differences:
        out().print(with_whole_words(comparison_table(differences)))
