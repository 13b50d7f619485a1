"""A step kind is one file: nothing outside it names the kinds."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import ohmwright
from ohmwright.engine.answered_step import AnsweredStep
from ohmwright.engine.procedure import Procedure
from ohmwright.engine.steps import step_kinds
from ohmwright.engine.steps.base import InstrumentStep, PersonStep

ROOT = Path(ohmwright.__file__).parent
BY_SUBJECT = {
    "api/planned_sweep_points.py",
    "api/practice.py",
    "api/run_plan.py",
    "api/sweep_plan.py",
    "engine/adjusting_again.py",
    "engine/adjustment_start.py",
    "engine/thresholds_on_record.py",
    "invented_history/visit.py",
    "installation/limits.py",
    "reports/measuring_conditions.py",
    "reports/conditions.py",
}
"""What is about some kinds by subject: a sweep's plan, a practice's one adjustment, how long a kind
takes, where adjusting starts, how both thresholds of an alarm agree, what a visit of an invented
unit holds, a leakage limit."""


def test_kinds_are_found_without_docstrings() -> None:
    """Python's option -OO takes them away."""
    count = "from ohmwright.engine.steps import step_kinds; print(len(step_kinds()))"
    said = subprocess.run([sys.executable, "-OO", "-c", count], capture_output=True, check=True)
    assert int(said.stdout) == len(step_kinds())


def test_every_module_of_the_package_is_a_kind_that_procedures_can_name() -> None:
    modules = {path.stem for path in (ROOT / "engine/steps").glob("*.py")} - {"__init__", "base"}
    assert set(step_kinds()) == modules >= {"output", "adjust", "leakage", "inspection"}
    choice = Procedure.model_json_schema()["properties"]["step"]["items"]["discriminator"]
    assert set(choice["mapping"]) == modules


def test_every_kind_is_a_persons_or_an_instruments_or_is_answered() -> None:
    for kind in step_kinds().values():
        assert sum(issubclass(kind, one) for one in (PersonStep, InstrumentStep, AnsweredStep)) == 1


def test_nothing_outside_the_package_lists_kinds() -> None:
    names = re.compile(r"\b(" + "|".join(kind.__name__ for kind in step_kinds().values()) + r")\b")
    users = {
        str(path.relative_to(ROOT))
        for path in ROOT.rglob("*.py")
        if path.parent.name != "steps" and names.search(path.read_text("utf-8"))
    }
    assert users <= BY_SUBJECT


def test_no_other_file_lists_kinds_by_their_names() -> None:
    """A new kind would be left out there, and nothing would say so."""
    also_words = {
        "adjust",
        "choice",
        "instruction",
        "inspection",
        "output",
        "sweep",
        "text",
        "value",
    }
    literals = [f'"{name}"' for name in step_kinds() if name not in also_words]
    listing = {
        str(path.relative_to(ROOT)): [name for name in literals if name in text]
        for path in ROOT.rglob("*.py")
        if path.parent.name != "steps" and (text := path.read_text("utf-8"))
    }
    assert len(literals) >= 5  # the others are words of other things, too
    assert {path: names for path, names in listing.items() if len(names) > 1} == {}


def test_a_file_added_to_the_package_is_a_kind_with_no_other_change(tmp_path: Path) -> None:
    """Checked in a copy: read from a procedure, refused where it cannot be, in the schema."""
    shutil.copytree(ROOT, tmp_path / "ohmwright", ignore=shutil.ignore_patterns("__pycache__"))
    instruction = tmp_path / "ohmwright/engine/steps/instruction.py"
    text = instruction.read_text("utf-8").replace('"instruction"', '"pause"')
    text = text.replace("InstructionStep", "PauseStep")
    (instruction.parent / "pause.py").write_text(text, "utf-8")
    program = (
        "from ohmwright.engine.procedure import Procedure\n"
        "step = dict(kind='pause', name='tea', text='Have tea.')\n"
        "made = Procedure.model_validate(dict(title='t', revision='1', model='m', step=[step]))\n"
        "defs = Procedure.model_json_schema()['$defs']\n"
        "print(type(made.step[0]).__name__, 'PauseStep' in defs)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        env={"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout == "PauseStep True\n", done.stderr
