"""Resuming a run that was cut short: what must be as it was when it was begun."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document, DocumentRef, Role, changed_roles
from ohmwright.model.errors import UsageError, WrongInstrument
from ohmwright.model.event import DocumentKept, Event, RunStarted
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.typed_command import typed_command

from .run_so_far import run_started_event

ROLES_THAT_MUST_AGREE: tuple[Role, ...] = (
    "procedure",
    "analyzer data",
    "analyzer command set",
    "analyzer back end",
    "generator data",
    "generator command set",
    "generator back end",
)
"""Documents that must be those of the run; bench file and certificate may have changed.

Each result says which certificate its uncertainty rests on.
"""

_COMMANDS: dict[tuple[Stage, ...], str] = {STAGES: "calibrate", ("as_found",): "verify"}


def refuse_another_job(
    earlier: Sequence[Event],
    *,
    stages: tuple[Stage, ...],
    procedure_digest: str,
    bench: str,
    asset: Asset,
    documents: Iterable[DocumentRef],
) -> None:
    """Raise UsageError unless stages, unit, bench, procedure and data files are those of the run.

    A record without its data files is not compared with any.
    """
    started = run_started_event(earlier)
    if started is None:
        return
    if stages != started.stages:
        raise _other_stages(started, stages)
    if procedure_digest != started.procedure_digest:
        raise UsageError(
            f"Run {started.run_id} was begun with another text of the procedure.",
            "Its results would not fit together. Nothing was switched on.",
            "Use the procedure file of that run, or start a new run.",
        )
    for what, here, there in (
        ("bench", bench, started.bench),
        *_identity(asset, started.asset),
    ):
        if here != there:
            raise UsageError(
                f"Run {started.run_id} was begun with {what} '{there}'; now it is '{here}'.",
                "Results of two would not fit together. Nothing was switched on.",
                "Give the bench file and the unit of that run, or start a new run.",
            )
    others = changed_roles(documents, started.documents, ROLES_THAT_MUST_AGREE)
    if others:
        raise UsageError(
            f"Run {started.run_id} was begun with another text of: {', '.join(others)}.",
            "Its results would not fit together. Nothing was switched on.",
            "Put back the files of that run "
            f"('{typed_command(f'record documents {started.run_id} FOLDER')}' writes them), "
            "or start a new run.",
        )


def _other_stages(started: RunStarted, stages: tuple[Stage, ...]) -> UsageError:
    command = _COMMANDS.get(started.stages, "")
    typed = typed_command(f"{command} … --resume {started.run_id}")
    by = f" ('{typed}')" if command else ""
    return UsageError(
        f"Run {started.run_id} was begun with: {_in_words(started.stages)}; "
        f"it is to go on with: {_in_words(stages)}.",
        "What is measured after an adjustment is not as found, and one that is not asked for must "
        "not move a trim: a run goes on as it was begun. Nothing was switched on.",
        f"Go on with it as it was begun{by}, or start a new run.",
    )


def _in_words(stages: tuple[Stage, ...]) -> str:
    return ", ".join(stage.replace("_", " ") for stage in stages)


def _identity(here: Asset, there: Asset) -> Iterator[tuple[str, str, str]]:
    """Yield name, value here and value there of what tells one unit from another.

    Its department is left out, since a department may be renamed.
    """
    names = {"id": "asset", "serial": "serial number", "maker": "maker", "model": "model"}
    for key, what in names.items():
        yield what, getattr(here, key), getattr(there, key)


def refuse_other_instruments(earlier: Sequence[Event], analyzer: str, generator: str) -> None:
    """Raise WrongInstrument unless both instruments are those that the run was begun with."""
    started = run_started_event(earlier)
    if started is None:
        return
    for role, there, begun_with in (
        ("analyzer", analyzer, started.analyzer),
        ("generator", generator, started.generator),
    ):
        if there != begun_with:
            raise WrongInstrument(
                f"The {role} is '{there}'; run {started.run_id} was begun with '{begun_with}'.",
                "Results of two units would not fit together. Nothing was switched on.",
                f"Connect the {role} of that run, or start a new run.",
            )


def documents_not_in_record(
    earlier: Iterable[Event], documents: Iterable[Document]
) -> tuple[Document, ...]:
    """Return those of `documents` that the record does not hold yet, each text once."""
    kept = {event.document.sha256 for event in earlier if isinstance(event, DocumentKept)}
    new = {one.sha256: one for one in documents if one.sha256 not in kept}
    return tuple(new.values())
