"""What a certificate says of what its uncertainties hold and lack."""

import csv
import json
from pathlib import Path

from rich.console import Console

from ohmwright.cli.budget_table import budget_table
from ohmwright.model.result import BudgetEntry, Measured, Result, Sample
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.uncertainty_text import left_out_text, readings_dof_text, uncertainty_text

from . import conftest

OLD = Path(__file__).parent / "data" / "record-of-two-parts.jsonl"


def valued(sources: str, left_out: str | None) -> Result:
    """A result whose budget has lines of these names, and leaves these effects out."""
    lines = tuple(
        BudgetEntry(source=name, evaluation="B", standard_uncertainty=0.1)
        for name in sources.split(", ")
    )
    lacks = None if left_out is None else tuple(filter(None, left_out.split(", ")))
    one = conftest.result("as_left", "cut", f"{sources}; {left_out}")
    assert isinstance(one.measured, Measured)
    measured = one.measured.model_copy(update={"budget": lines, "left_out": lacks})
    return one.model_copy(update={"measured": measured})


def test_what_the_degrees_of_freedom_of_readings_hold() -> None:
    """Ten readings and 3 of the prior, as of a value that is fitted; of a mean it is not said."""
    said = "as many degrees of freedom as readings count, and 3 more for each activation"
    one = valued("readings", None)
    assert one.measured is not None
    for dof, samples, told in ((13.0, 10, True), (9.0, 10, False), (13.0, 0, False)):
        line = one.measured.budget[0].model_copy(update={"dof": dof})
        measured = one.measured.model_copy(update={"budget": (line,)})
        readings = tuple(Sample(float(age), 400.0) for age in range(samples))
        result = one.model_copy(update={"measured": measured, "samples": readings})
        assert (said in uncertainty_text([result])) is told


def test_each_name_is_said_once() -> None:
    found = [valued("readings, meter drift", "leads, noise"), valued("readings", "noise")]
    assert uncertainty_text(found) == (
        "U holds: readings, meter drift. Left out of U, for want of data: leads, noise."
    )


def test_what_only_some_values_lack_is_marked() -> None:
    found = [valued("readings, meter drift", ""), valued("readings", "meter drift")]
    said = "Left out of U, for want of data: meter drift (of some values)."
    assert left_out_text(found) == said


def test_nothing_left_out_and_nothing_on_record_differ() -> None:
    assert left_out_text([valued("readings", "")]).endswith("of data: nothing.")
    assert left_out_text([valued("readings", None)]).endswith("of data: not recorded.")


def test_errors_that_go_together_are_named_on_papers_and_kept_in_data() -> None:
    one = valued("meter accuracy, load resistance", "")
    assert one.measured is not None
    both = one.measured.model_copy(update={"correlation": 0.3})
    together = one.model_copy(update={"measured": both})
    said = (
        "The errors of meter accuracy and load resistance go together, with a correlation "
        "coefficient of 0.3 by the analyzer's certificate."
    )
    assert said in uncertainty_text([together])
    assert "go together" not in uncertainty_text([one])
    certificate = certificate_of(conftest.a_run([together]))
    (row,) = csv.DictReader(certificate_csv(certificate).decode("utf-8-sig").splitlines())
    assert row["meter_load_correlation"] == "0.3"
    assert said in certificate_dcc(certificate).decode()
    console = Console(width=200)
    with console.capture() as shown:
        console.print(budget_table([together]))
    assert said in shown.get()


def test_the_shares_of_a_budget_by_monte_carlo_are_of_what_was_drawn() -> None:
    """Student's t with 8 degrees of freedom has 8/6 of the variance of its scale."""
    one = valued("readings, meter accuracy", "")
    assert one.measured is not None
    readings, meter = one.measured.budget
    drawn = {"budget": (readings.model_copy(update={"dof": 8.0}), meter)}
    drawn |= {"propagation": "Monte Carlo", "uncertainty": 0.1 * (8 / 6 + 1) ** 0.5}
    few = one.model_copy(update={"measured": one.measured.model_copy(update=drawn)})
    console = Console(width=200)
    with console.capture() as shown:
        console.print(budget_table([few]))
    assert [line.split()[-1] for line in shown.get().splitlines()[-3:-1]] == ["57.1", "42.9"]


def test_a_run_without_a_budget_says_nothing() -> None:
    bare = conftest.result("as_left", "cut", "500 ohm")
    assert uncertainty_text([]) == uncertainty_text([bare]) == left_out_text([bare]) == ""


def test_names_of_a_record_act_on_no_terminal() -> None:
    assert "\x1b" not in uncertainty_text([valued("read\x1b[2J", "leads\x1b")])


def test_the_certificate_says_it_among_its_notes() -> None:
    run = conftest.a_run([valued("readings", "lead inductance")])
    notes = certificate_text(certificate_of(run)).notes
    assert "U holds: readings. Left out of U, for want of data: lead inductance." in notes


def test_a_record_made_before_effects_were_left_out_by_name_is_read() -> None:
    lines = OLD.read_text(encoding="utf-8").splitlines()[1:]
    events = [json.loads(line).get("event", {}) for line in lines]
    found = [Result.model_validate(e["result"]) for e in events if e.get("kind") == "point_done"]
    assert found
    budgets = [one.measured.budget for one in found if one.measured is not None]
    assert {line.shared for budget in budgets for line in budget} == {None}
    assert uncertainty_text(found) == (
        "U holds: readings, meter accuracy, meter drift, load resistance, load drift, "
        f"captures. {readings_dof_text(found)} "
        "Left out of U, for want of data: not recorded."
    )
