"""Options and groups of options that more than one command has.

No module that declares commands imports `annotations` from `__future__`: typer would evaluate the
text of every annotation, which makes `ohmwright --help` slower.
"""

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ohmwright.model.typed_command import keep_given_records
from ohmwright.simulator.faults import KINDS, SYNTAX, LineFault

if TYPE_CHECKING:
    from ohmwright.api.bench_data import BenchChoice
    from ohmwright.api.laboratory import PaperWords

    from .creep_command import FleetChoice
    from .run_subject import WorkRequest


def _kept(context: typer.Context, parameter: typer.CallbackParam, place: str | None) -> str | None:
    """Keep what was typed for the commands that are advised: a variable holds for them as well."""
    source = context.get_parameter_source(parameter.name or "")
    is_typed = source is not None and source.name == "COMMANDLINE"
    keep_given_records(place if is_typed else None)
    return place


SearchedUnit = Annotated[
    str,
    typer.Option(metavar="WORDS", help="Each word is part of tag, maker, model, serial or site."),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
RecordsPlace = Annotated[
    str | None,
    typer.Option(
        metavar="PLACE",
        envvar="OHMWRIGHT_RECORDS",
        callback=_kept,
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
OperatorName = Annotated[
    str | None,
    typer.Option(
        "--operator",
        metavar="NAME",
        envvar="OHMWRIGHT_OPERATOR",
        help="Who does this; default: the account.",
    ),
]
RunArgument = Annotated[str, typer.Argument(metavar="RUN", help="Its number, or 'last'.")]
Reason = Annotated[str, typer.Option(help="Why; it stands on the papers.")]
By = Annotated[
    str | None,
    typer.Option(
        metavar="WHO", envvar="OHMWRIGHT_OPERATOR", help="Your name; default: your account."
    ),
]
Runs = Annotated[list[str] | None, typer.Argument(metavar="RUN", help="Default: all.")]

OptionalProcedure = Annotated[
    Path | None,
    typer.Argument(metavar="PROCEDURE", help="Procedure file (TOML); default: the asset's own."),
]
ProcedurePath = Annotated[Path, typer.Argument(metavar="PROCEDURE", help="Procedure file (TOML).")]
BenchPath = Annotated[Path, typer.Option("--bench", help="Bench file (TOML).")]
Unattended = Annotated[bool, typer.Option("--unattended", help="Nobody is there to be asked.")]
AcceptExpired = Annotated[
    bool,
    typer.Option("--accept-expired", help="Go on with an analyzer whose calibration is past due."),
]
Faults = Annotated[
    list[LineFault] | None,
    typer.Option(
        "--fault",
        parser=LineFault.parse,
        metavar=SYNTAX,
        help="Repeatable: what befalls the Nth message to a simulated instrument, or its reply. "
        f"KIND: {', '.join(KINDS)}. again: it arrives, and once more ahead of the next; late: "
        "only ahead of the next; later: three messages later; masquerade: another instrument "
        "answers.",
    ),
]


@dataclass(frozen=True)
class NotingOptions:
    """Options of the commands that note something: who does it, and where."""

    operator: OperatorName = None
    records: RecordsPlace = None
    as_json: Json = False


DAY_FORM = "YYYY-MM-DD"
INSTANT_FORM = "YYYY-MM-DD[THH:MM:SS]"


def day(text: str) -> datetime:
    """Return the day that `text` is. Raises typer.BadParameter."""
    with suppress(ValueError):
        return datetime.strptime(text, "%Y-%m-%d")
    raise typer.BadParameter(f"{text!r} is no date. Write it as 2026-01-31.")


def instant(text: str) -> datetime:
    """Return the day, or day and time, that `text` is. Raises typer.BadParameter."""
    with suppress(ValueError):
        return datetime.strptime(text, "%Y-%m-%dT%H:%M:%S")
    with suppress(ValueError):
        return datetime.strptime(text, "%Y-%m-%d")
    raise typer.BadParameter(f"{text!r} is no date. Write it as 2026-01-31 or 2026-01-31T13:45:00.")


def _work_order(text: str) -> str:
    """Return `text` as a work order. Raises typer.BadParameter for more than one line of text."""
    from ohmwright.model.assignment import LONGEST_WORK_ORDER

    if len(text) > LONGEST_WORK_ORDER or not text.isprintable():
        raise typer.BadParameter(
            f"It must be one line of at most {LONGEST_WORK_ORDER} characters, not {len(text)}."
        )
    return text.strip()


WorkOrder = Annotated[
    str,
    typer.Option("--work-order", metavar="NO", parser=_work_order, help="Kept with each run."),
]


@dataclass(frozen=True)
class AnalyzerLine:
    """Options for the line to the analyzer."""

    port: Annotated[
        str | None,
        typer.Option(
            help="The analyzer's serial port, by name or as serial=NUMBER of its adapter."
        ),
    ] = None
    no_guard: Annotated[
        bool, typer.Option("--no-guard", help="Simulated benches only: no guard process.")
    ] = False

    def bench_choice(self, bench: Path) -> "BenchChoice":
        """Return the choice of the bench file `bench`, reached over this line."""
        from ohmwright.api.bench_data import BenchChoice

        return BenchChoice(bench, self.port, guarded=not self.no_guard)


@dataclass(frozen=True)
class HearingOptions:
    """Options for what is heard of a run."""

    sound: Annotated[
        bool, typer.Option("--sound", help="Tones for RF, for the reading, and when it is done.")
    ] = False
    speak: Annotated[
        bool, typer.Option("--speak", help="Have what is to be done spoken by the system's voice.")
    ] = False


@dataclass(frozen=True)
class RunOptions:
    """Options of the commands that run a procedure."""

    records: RecordsPlace = None
    resume: Annotated[
        str | None,
        typer.Option(metavar="RUN", help="Go on with a run that was cut short, or 'last'."),
    ] = None
    unattended: Unattended = False
    accept_expired: AcceptExpired = False
    temperature_c: Annotated[
        float | None, typer.Option(min=-10, max=60, help="Room temperature in degrees Celsius.")
    ] = None
    humidity_percent: Annotated[
        float | None, typer.Option(min=0, max=100, help="Relative humidity of the room.")
    ] = None
    values: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="CSV or JSON that answers value, text, choice steps."),
    ] = None


@dataclass(frozen=True)
class WorkOptions:
    """What a run is done for, and by whom."""

    asset: Annotated[
        str | None,
        typer.Option(metavar="TAG", help="The unit, by its tag in the register; may be scanned."),
    ] = None
    in_repair: Annotated[
        bool,
        typer.Option("--in-repair", help="The unit is in repair, and is worked on all the same."),
    ] = False
    operator: OperatorName = None
    work_order: WorkOrder = ""
    comment: Annotated[
        list[str] | None, typer.Option(metavar="TEXT", help="Kept with the run. Repeatable.")
    ] = None
    attach: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="A photo or other file kept in the record. Repeatable."),
    ] = None

    def request(self, values: Path | None = None) -> "WorkRequest":
        """Return them as a request; `values`: the file that answers steps."""
        from .run_subject import WorkRequest

        comments, attach = tuple(self.comment or ()), tuple(self.attach or ())
        return WorkRequest(
            self.asset,
            self.operator,
            self.work_order,
            comments,
            attach,
            values,
            in_repair=self.in_repair,
        )


LaboratoryPath = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        envvar="OHMWRIGHT_LABORATORY",
        help="Laboratory file; default: laboratory.toml beside the records, else the user's.",
    ),
]
OwnPages = Annotated[
    Path | None,
    typer.Option("--own-pages", metavar="FILE", help="Your own pages in front of it (.typ)."),
]


@dataclass(frozen=True)
class PaperOptions:
    """Options on what papers state beside the record."""

    laboratory: LaboratoryPath = None
    customer: Annotated[
        str | None, typer.Option(help="For whom; with an address where that file has it.")
    ] = None
    place: Annotated[
        str | None, typer.Option(help="Where the work was done: laboratory, customer or words.")
    ] = None
    received: Annotated[
        datetime | None,
        typer.Option(parser=day, metavar=DAY_FORM, help="When the unit was received."),
    ] = None
    condition: Annotated[str | None, typer.Option(help="Its condition when received.")] = None

    def words(self) -> "PaperWords":
        """Return what was said, for the papers."""
        from ohmwright.api.laboratory import PaperWords

        received = None if self.received is None else self.received.date()
        return PaperWords(self.laboratory, self.customer, self.place, received, self.condition)


@dataclass(frozen=True)
class RunFilterOptions:
    """Options that select runs on record."""

    asset: Annotated[str | None, typer.Option(help="Only this unit.")] = None
    model: Annotated[str | None, typer.Option(help="Only this model.")] = None
    verdict: Annotated[
        str | None,
        typer.Option(help="pass, fail, undecided, 'not measured', unfinished or refused."),
    ] = None
    since: Annotated[
        datetime | None,
        typer.Option(parser=instant, metavar=INSTANT_FORM, help="From this date on (UTC)."),
    ] = None
    until: Annotated[
        datetime | None,
        typer.Option(parser=instant, metavar=INSTANT_FORM, help="Before this date (UTC)."),
    ] = None
    serial: Annotated[str | None, typer.Option(help="Only this serial number.")] = None
    operator: Annotated[str | None, typer.Option(help="Only runs that this person began.")] = None
    search: Annotated[
        str,
        typer.Option(
            metavar="WORDS",
            help="Each word is part of run, unit, serial, model, procedure, operator or date.",
        ),
    ] = ""


@dataclass(frozen=True)
class FleetOptions:
    """Options that select the units whose creep is looked at."""

    model: Annotated[str | None, typer.Option(help="Only this model.")] = None
    asset: Annotated[str | None, typer.Option(help="Only this unit.")] = None
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Simulated units instead of real ones.")
    ] = False
    records: RecordsPlace = None

    def choice(self) -> "FleetChoice":
        """Return the units chosen."""
        from .creep_command import FleetChoice

        return FleetChoice(self.records, self.model, self.asset, self.simulated)
