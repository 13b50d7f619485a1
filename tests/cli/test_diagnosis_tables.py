"""What is said of a sense gain that was diagnosed from a power curve."""

from datetime import UTC, datetime
from io import StringIO

import pytest
from rich.console import Console

from ohmwright.cli import tables
from ohmwright.cli.diagnosis_tables import diagnosis_tables, sense_gains_table
from ohmwright.model.adjustment_events import CurveDiagnosed, SenseGain
from ohmwright.model.event import RunResumed
from ohmwright.model.run_diagnoses import newest_diagnoses
from ohmwright.reports.measuring_conditions import MeasuringConditions
from ohmwright.reports.traceability_marks import value_marks
from tests.records.some_events import point


@pytest.mark.parametrize(
    ("gain", "drifted", "said"),
    [
        (1.031, 0.9, True),  # off by 3.1 % ± 3.0 %
        (1.029, 0.9, False),  # likely drifted, and by no more than it is uncertain
        (0.969, 0.9, True),
        (1.031, 0.4, False),
    ],
)
def test_only_what_is_off_by_more_than_its_uncertainty_has_drifted(
    gain: float, drifted: float, *, said: bool
) -> None:
    one = SenseGain(sense="current", gain=gain, uncertainty=0.015, drifted=drifted)
    event = CurveDiagnosed(
        at=datetime(2026, 3, 2, tzinfo=UTC),
        bench_s=0.0,
        mode="cut",
        gains=(one,),
        culprit=None,
        misfit=1.0,
        first_moves=(),
    )
    event = event.model_copy(update={"gains": (one, one.model_copy(update={"gain": 0.9997}))})
    console = Console(width=100)
    with console.capture() as seen:
        console.print(sense_gains_table([event]))
    assert ("DRIFTED" in seen.get()) == said
    assert ("+0.0" in seen.get(), "-0.0" in seen.get()) == (True, False)
    assert len(diagnosis_tables([event])) == 1  # no heading without a row, of first moves
    assert diagnosis_tables([]) == []


def test_a_run_that_went_on_amid_adjusting_shows_each_diagnosis_once() -> None:
    at = {"at": datetime(2026, 3, 2, tzinfo=UTC), "bench_s": 0.0}
    gains = {"gains": (), "culprit": None, "misfit": 1.0, "first_moves": ()}
    cut, coag = (CurveDiagnosed(**at, mode=mode, **gains) for mode in ("cut", "coag"))
    resumed = RunResumed(**at, operator="A. Fenn", done=0)
    assert newest_diagnoses([cut, coag]) == [cut, coag]
    assert newest_diagnoses([cut, coag, resumed]) == [cut, coag]
    assert newest_diagnoses([cut, coag, resumed, cut, coag]) == [cut, coag]


def test_a_load_is_written_in_one_way() -> None:
    _, load = tables._conditions(MeasuringConditions("cut", "120 W", "500 Ω", "", ""))
    assert str(load) == "500 ohm"


@pytest.mark.parametrize("name", ["500 ohm", "low", "at 1500 W"])
def test_a_load_is_not_told_again_where_the_point_is_named_by_it(name: str) -> None:
    conditions = {"path": "OUTPUT", "load_ohm": 500.0}
    result = point(name).result.model_copy(update=conditions)
    table = tables._measured_table([result], value_marks([]), tables._VARIANTS[0])
    shown = StringIO()
    Console(width=120, file=shown).print(table)
    assert (shown.getvalue().count("500 ohm"), name in shown.getvalue()) == (1, True)
