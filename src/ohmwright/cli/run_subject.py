"""What a run is about: the unit on the bench, and what is given to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import anyio
from rich.text import Text

from ohmwright.api import unit_on_bench as units
from ohmwright.api.assets import InRepairError
from ohmwright.api.attached_files import read_attachments
from ohmwright.api.bench_data import BenchData
from ohmwright.api.given_values_file import read_given_values
from ohmwright.api.open_records import resolved_run_id
from ohmwright.api.unit_on_bench import UnitOnBench
from ohmwright.model.account import account_name
from ohmwright.model.assignment import Assignment
from ohmwright.reports.text import printable

from .console import err, print_notice
from .keyboard import at_a_terminal, read_line
from .open_records import open_existing_records


@dataclass(frozen=True)
class WorkRequest:
    """What a run is done for, as asked for on the command line."""

    asset: str | None = None
    """What was typed or scanned."""
    operator: str | None = None
    work_order: str = ""
    comments: tuple[str, ...] = ()
    attach: tuple[Path, ...] = ()
    values: Path | None = None
    in_repair: bool = False
    """Whether a unit in repair is to be worked on."""

    def assignment(self) -> Assignment:
        """Return it with every file read. Raises SourceError."""
        given = (
            Assignment()
            if self.values is None
            else Assignment(given=read_given_values(self.values))
        )
        return replace(
            given,
            work_order=self.work_order,
            account=account_name(),
            comments=self.comments,
            attachments=read_attachments(self.attach),
        )


def resumed_run(resume: str | None, records: str | None) -> str | None:
    """Return the number of the run to go on with; `resume` may say "last", None for a new run."""
    if resume is None:
        return None
    with open_existing_records(records) as store:
        return resolved_run_id(store, resume)


def unit_on_bench(
    bench: BenchData, work: WorkRequest, records: str | None, resume: str | None
) -> UnitOnBench:
    """Return the bench with its unit; a person at a terminal is asked about one in repair."""
    opened = partial(units.unit_on_bench, bench, work.asset, records, resume, print_notice)
    try:
        return opened(in_repair=work.in_repair)
    except InRepairError as problem:
        if not at_a_terminal() or not agrees_to_repair(problem):
            raise
    return opened(in_repair=True)


def agrees_to_repair(problem: InRepairError) -> bool:
    """Ask whether a unit is to be worked on though it is in repair; return whether so."""
    said = f"{problem.happened} It may be open or unsafe."
    err().print(Text(printable(said), style="yellow"), soft_wrap=True)
    return says_yes("Work on it all the same?")


def says_yes(question: str) -> bool:
    """Ask a person at the terminal; return whether the answer is yes."""
    err().print(Text(printable(f"{question} yes, or Enter for no: ")), end=" ", soft_wrap=True)
    return anyio.run(read_line).strip().casefold() in ("y", "yes")
