"""The command `campaign work`: a unit is scanned, run and noted; then comes the next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from shlex import quote

from rich.text import Text

from ohmwright.api.assets import InRepairError, asset_of_scan, refuse_in_repair
from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.bench_generators import models_of
from ohmwright.api.campaign_changes import CampaignChanges
from ohmwright.api.campaign_words import held_words, kept_words, progress_words
from ohmwright.api.campaign_work import CampaignDesk, TakenUnit
from ohmwright.model.account import account_name
from ohmwright.model.errors import (
    OhmwrightError,
    RecordError,
    RfUnsafe,
    UsageError,
    WrongInstrument,
)
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.typed_command import typed_command
from ohmwright.records.campaigns import Worker
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.text import printable

from .console import out
from .error_report import print_error
from .keyboard import at_a_terminal
from .open_records import open_existing_records
from .run_command import RunRequest, run_procedure
from .run_subject import WorkRequest, agrees_to_repair, says_yes
from .scanner import Scanner
from .worklist_command import taken_words

_QUESTIONS = ("", "?", "help")
_SKIP = "Leave {tag} out of the campaign, for the reason '{why}'?"
_COMES_AGAIN = "comes again until it is done; 'skip REASON' leaves it out."
_STAGES: dict[str, tuple[Stage, ...]] = {"calibrate": STAGES, "verify": ("as_found",)}


@dataclass(frozen=True)
class CampaignWorkRequest:
    """A campaign to be worked through, as asked for on the command line."""

    name: str
    bench: BenchChoice
    operator: str | None
    records: str | None
    work_order: str
    unattended: bool
    accept_expired: bool

    @property
    def command(self) -> str:
        """Return the command that goes on with the campaign at this bench."""
        bench = quote(str(self.bench.path))
        by = "" if self.operator is None else f" --operator {quote(self.operator)}"
        return typed_command(f"campaign work {quote(self.name)} --bench {bench}{by}")


def work_campaign(request: CampaignWorkRequest) -> int:
    """Work through a campaign until nothing is left or somebody stops; return 0.

    Raises RfUnsafe and RecordError at once; any other problem of a unit is shown, and
    the unit stays in hand.
    """
    bench = request.bench.read()
    simulated = bench.file.simulation is not None
    worker = Worker(request.operator or account_name(), bench.file.name)
    with open_existing_records(request.records) as store:
        desk = CampaignDesk(store, request.name, worker, models=models_of(bench))
        if desk.campaign.simulated != simulated:
            raise _wrong_kind(request.name, simulated=simulated)
        before, again, told, scanner = "", "", "", Scanner()
        while (unit := desk.take_next()) is not None:
            if unit.asset.tag == before != again:  # once: what was wrong stands above it
                again = before
                out().print(Text(printable(f"{before} {_COMES_AGAIN}")), soft_wrap=True)
            out().print(Text(f"Next: {taken_words(unit)}", style="bold"), soft_wrap=True)
            held = desk.held_before(unit.asset.tag)
            if held and (said := held_words(held)) != told:
                told = said
                out().print(Text(said), soft_wrap=True)
            if (worked := _one_unit(request, desk, unit, scanner)) is None:
                break
            before = worked
        out().print(Text(progress_words(desk.campaign, desk.progress())), soft_wrap=True)
        if unit is None:
            for tag, why in desk.why_left().items():
                out().print(Text(printable(f"{tag} is left: it is {why}.")), soft_wrap=True)
        if unit is None and (kept := desk.kept_at_home()):
            out().print(Text(kept_words(kept)), soft_wrap=True)
    return 0


def _one_unit(
    request: CampaignWorkRequest, desk: CampaignDesk, unit: TakenUnit, scanner: Scanner
) -> str | None:
    """Do what the person says about a unit; return which one it was, None where they stop."""
    while (said := scanner.asked()).casefold() in _QUESTIONS:
        pass  # what may be said is shown again
    if said.casefold() == "stop":
        return None
    try:
        if (noted := _noted(desk, unit.asset.tag, said)) is not None:
            out().print(Text(printable(f"{noted}.")), soft_wrap=True)
        elif said.casefold() == "anew":
            _begin_anew(request, desk, unit)
        else:
            return _scanned(request, desk, unit, said)
    except (RfUnsafe, RecordError):
        raise
    except OhmwrightError as problem:
        if not problem.is_reported:
            print_error(problem)
    return unit.asset.tag


def _noted(desk: CampaignDesk, tag: str, said: str) -> str | None:
    """Note what was said of a unit; return that in words, None where it was a tag or a label."""
    word, _, words = said.partition(" ")
    words, changes = words.strip(), CampaignChanges(desk)
    match word.casefold():
        case "skip":
            meant = not words or not at_a_terminal() or says_yes(_SKIP.format(tag=tag, why=words))
            return changes.skip(tag, words) if meant else f"{tag} is not skipped"
        case "defer":
            day, _, why = words.partition(" ")
            return changes.defer(tag, _day(day), why.strip())
        case "hand" if words.casefold().partition(" ")[0] == "over":
            return changes.hand_over(tag, words[4:].strip())
    return None


def _scanned(request: CampaignWorkRequest, desk: CampaignDesk, unit: TakenUnit, said: str) -> str:
    """Run the unit that was scanned, which may be another one than is next; return its tag."""
    scanned = asset_of_scan(desk.store, said)
    if scanned.tag != unit.asset.tag:
        unit = desk.take(scanned.tag)
        out().print(Text(f"Taken instead: {taken_words(unit)}"), soft_wrap=True)
    _run(request, desk, unit, resume=unit.resumes)
    return scanned.tag


def _begin_anew(request: CampaignWorkRequest, desk: CampaignDesk, unit: TakenUnit) -> None:
    """Leave the begun run of a unit, and begin another. Raises UsageError where it has none."""
    if unit.resumes is None:
        raise UsageError(
            f"No run of {unit.asset.tag} is begun and could be left for another.",
            "Nothing was run: its tag says that it is this unit.",
            "Scan or type its tag.",
        )
    _run(request, desk, unit, resume=None)


def _run(
    request: CampaignWorkRequest, desk: CampaignDesk, unit: TakenUnit, resume: str | None
) -> None:
    """Run or go on with the procedure of a unit, and note it as done where it is finished."""
    tag = unit.asset.tag
    if resume is None and not _may_be_run(desk, unit):
        out().print(Text(printable(f"{tag} was not run, and stays in your hands.")))
        return

    def begun(_: SqlStore, run_id: str) -> None:
        if run_id != resume:
            desk.begin(tag, run_id)

    run = RunRequest(
        None,
        request.bench,
        _STAGES[desk.campaign.work],
        request.records,
        resume,
        request.unattended,
        as_json=False,
        accept_expired=request.accept_expired,
        work=WorkRequest(tag, request.operator, request.work_order, in_repair=True),
        on_begun=begun,
        go_on=lambda _: request.command,
    )
    try:
        run_procedure(run)
    except WrongInstrument as problem:
        desk.note(tag, "refused", problem.happened)
        raise
    desk.settle(tag)


def _may_be_run(desk: CampaignDesk, unit: TakenUnit) -> bool:
    """Whether a unit is in service, or a person says that it is run though it is in repair.

    Raises InRepairError where nobody can be asked: the next line of a pipe is no answer to that.
    """
    try:
        refuse_in_repair(desk.store, unit.asset)
    except InRepairError as problem:
        if not at_a_terminal():
            raise
        return agrees_to_repair(problem)
    return True


def _day(said: str) -> date:
    try:
        return date.fromisoformat(said)
    except ValueError:
        what = f"'{said}' is no date." if said else "To which day?"
        raise UsageError(what, "Nothing was noted.", "Write it as 2026-01-31.") from None


def _wrong_kind(name: str, *, simulated: bool) -> UsageError:
    here, there = ("simulated", "real") if simulated else ("real", "simulated")
    return UsageError(
        f"This bench is {here}, and campaign {name} is of {there} units.",
        "A simulated run is no evidence about a real unit. Nothing was switched on.",
        "Give the other bench; 'campaign new --simulated' begins one for trials.",
    )
