"""A run as it is on record: its verdict, results, curve and certificate."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from os import PathLike
from typing import Any

from ohmwright.engine.run_so_far import results as results_of
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, RunFinished
from ohmwright.model.result import Result, Verdict, latest

from .curve import Curve
from .open_records import open_existing_records, trusted_keys
from .pandas_extra import data_frame
from .paths import RecordsAt, given_path
from .recorded_curve import curve_of

_CERTIFICATE_KINDS = {".pdf": "pdf", ".html": "html", ".csv": "csv", ".xml": "dcc"}


class Results(tuple[Result, ...]):
    """The results of a run, each point by its latest measurement."""

    __slots__ = ()

    def __repr__(self) -> str:
        counted = Counter(result.verdict for result in self)
        words = ", ".join(f"{many} {verdict}" for verdict, many in counted.items())
        return f"<Results: {words or 'none'}; to_pandas() gives a table>"

    def to_pandas(self) -> Any:
        """Return a DataFrame, one row a result. Raises UsageError where pandas is missing."""
        return data_frame([_row(result) for result in self])


class Run:
    """One run on record, finished or not."""

    def __init__(self, records: RecordsAt | None, run_id: str, events: Sequence[Event]) -> None:
        self.id, self.events, self._records = run_id, tuple(events), records

    def __repr__(self) -> str:
        return f"<Run {self.id}: {self.verdict if self.finished else 'unfinished'}>"

    @property
    def finished(self) -> bool:
        """Whether every step is done."""
        return isinstance(self.events[-1], RunFinished)

    @property
    def verdict(self) -> Verdict:
        """pass, fail, undecided or not measured; the last for a run that is not finished."""
        last = self.events[-1]
        return last.verdict if isinstance(last, RunFinished) else "not measured"

    @property
    def results(self) -> Results:
        """The results that count: of a point that was measured again, only the last one."""
        return Results(latest(results_of(self.events)))

    @property
    def curve(self) -> Curve:
        """The curve of a sweep. Raises UsageError where the run is of something else."""
        return curve_of(self.events)

    def certificate(self, path: str | PathLike[str], *, overwrite: bool = False) -> None:
        """Write the certificate of a finished run, as .pdf, .html, .csv or .xml by the path.

        Raises UsageError for another ending, a run that is not finished and an existing file of
        other content unless `overwrite`, RecordError where it cannot be written.
        """
        from .certificate_files import (
            CertificateOptions,
            OutputPaths,
            write_certificate_files,
        )
        from .certificate_renderer import certificate_renderer

        target = given_path("certificate()", path)
        kind = _CERTIFICATE_KINDS.get(target.suffix.lower())
        if kind is None:
            raise UsageError(
                f"{target}: a certificate cannot be written with this ending.",
                do=f"Give a name that ends in {', '.join(_CERTIFICATE_KINDS)}.",
            )
        with open_existing_records(self._records) as store:
            renderer = certificate_renderer(
                store, self.id, trusted_keys(None, store), CertificateOptions()
            )
        write_certificate_files(renderer, OutputPaths(**{kind: target}), overwrite=overwrite)


def _row(result: Result) -> dict[str, Any]:
    measured, target = result.measured, result.target
    return {
        "stage": result.stage,
        "step": result.step,
        "point": result.point,
        "kind": result.kind,
        "mode": result.mode,
        "setting_w": result.setting_w,
        "load_ohm": result.load_ohm,
        "quantity": None if measured is None else measured.quantity,
        "value": None if measured is None else measured.value,
        "expanded": None if measured is None else measured.expanded,
        "k": None if measured is None else measured.coverage_factor,
        "target": None if target is None else target.value,
        "lower": None if target is None else target.lower,
        "upper": None if target is None else target.upper,
        "verdict": result.verdict,
        "reason": result.reason,
        "on_s": result.on_s,
    }
