"""A decision rule of another package says what decides, or is refused with what it lacks."""

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any, Literal

import pytest

import ohmwright
from ohmwright.engine.judge import judge
from ohmwright.engine.procedure import rebuild
from ohmwright.model import decision
from ohmwright.model.decision import OwnRule
from ohmwright.model.errors import UsageError
from ohmwright.model.result import Measured
from ohmwright.model.tolerance import at_most


class SilentRule(OwnRule):
    """A rule whose arithmetic is what a test gives it."""

    rule: Literal["silent"] = "silent"
    own: Any = None

    def arithmetic(self) -> Any:
        """Return what the test gave."""
        return self.own


@pytest.fixture(autouse=True)
def _no_rule_stays(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(decision, "_ADDED", {})
    yield
    monkeypatch.undo()
    rebuild()


def test_a_class_that_is_no_whole_rule_is_refused_when_it_is_registered() -> None:
    class Half(OwnRule):
        """Does not say what decides."""

        rule: Literal["half"]

    class Both(SilentRule):
        """Of two names, one of which is taken."""

        rule: Literal["own", "guard band"]

    unusable: list[tuple[Any, str]] = [
        (Half, "Half lacks what each OwnRule needs: arithmetic"),
        (Both, "there is a decision rule 'guard band' already"),
        (dict, "dict is no class derived from OwnRule"),
    ]
    for kind, says in unusable:
        with pytest.raises(ValueError, match=says):
            ohmwright.register_rule(kind)
    assert decision._ADDED == {}


@pytest.mark.parametrize(
    ("own", "says"),
    [
        (None, r"rule 'silent' decides nothing: its arithmetic\(\) returns None"),
        (SimpleNamespace(decide=lambda *_: "pass"), r"its decide\(\) returns 'pass'"),
    ],
)
def test_a_rule_that_decides_nothing_is_named(own: object, says: str) -> None:
    value = Measured(quantity="leakage_ma", value=1.0, uncertainty=0.1, dof=60.0, age_s=6.0)
    with pytest.raises(UsageError, match=says):
        judge(value, at_most("leakage_ma", 100.0), SilentRule(own=own))
