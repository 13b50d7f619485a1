"""A few faults of a store, each tried a few times; `scripts/faults --only database` does all."""

from collections.abc import Callable
from pathlib import Path

import pytest

from scripts.faults import database_damage, database_kill
from scripts.faults.row import Row


def flipped(folder: Path) -> Row:
    small = database_damage.Small(folder, seed=1)
    return database_damage._flips("flips", small, database_damage.NAME, 1, 2003)


@pytest.mark.parametrize(
    "fault",
    [
        flipped,
        lambda _: database_kill.full(1, 2),
        lambda _: database_kill.held(1, 1),
        lambda folder: next(database_damage._older(folder, 1)),
    ],
)
def test_nothing_lost_and_nothing_undetected(fault: Callable[[Path], Row], tmp_path: Path) -> None:
    row = fault(tmp_path)
    assert row.tried > 0
    assert (row.wrong_values, row.undetected, row.hangs) == (0, 0, 0), row
