"""The engineer's examples run, and their figures show what they say."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from matplotlib import rc_context

from ohmwright import read
from scripts.examples import (
    after_calibrating,
    rehearse_two_procedures,
    three_modes,
    unit_against_fleet,
)


@pytest.mark.parametrize(
    ("example", "picture", "shows"),
    [
        (three_modes.main, "curves.svg", ("blend", "105 W, ± U", "limits for 105 W")),
        (after_calibrating.main, "after.svg", ("other, 2026-01-05", "limits for ")),
        (
            partial(rehearse_two_procedures.main, units=1, workers=1),
            "two-procedures.svg",
            ("Cut verification, guarded", "Hardest tolerances"),
        ),
        (unit_against_fleet.main, "unit.svg", ("mean of 3 others", "± 2 standard deviations")),
    ],
)
def test_an_example_draws_its_figure(
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    example: Callable[[Path], None],
    picture: str,
    shows: tuple[str, ...],
) -> None:
    folder = tmp_path / "new" / "folder"
    few = {"loads_ohm": (100, 500, 2000), "repeats": 1}
    for module in (three_modes, after_calibrating, unit_against_fleet):
        monkeypatch.setattr(module, "PLAN", module.PLAN.model_copy(update=few))
    monkeypatch.setattr(unit_against_fleet, "UNITS", range(1, 5))
    with rc_context({"svg.fonttype": "none"}):  # text stays text
        example(folder)
    drawn = (folder / picture).read_text(encoding="utf-8")
    assert [words for words in (*shows, "SIMULATED") if words not in drawn] == []
    if example is after_calibrating.main:
        before, after = (read(folder / f"{name}.parquet") for name in ("before", "after"))
        assert len(after.compare(before).certain()) > 2, "adjusting has changed nothing"
