"""Who may add to a run whose record says that it was restricted, and not to whom."""

from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from ohmwright.api.laboratory import Laboratory
from ohmwright.cli.addendum_checks import authority_for
from ohmwright.model.errors import UsageError
from ohmwright.model.paper import Authorised, Authority, LaboratoryFile
from ohmwright.records.sql_store import SqlStore

KEPT = Authority(laboratory="Fennel", by="name")


def _store() -> SqlStore:
    """One whose only run has an addendum under `KEPT`."""
    addendum = SimpleNamespace(statement=SimpleNamespace(authority=KEPT))
    run, key = SimpleNamespace(addenda=[addendum]), SimpleNamespace(public="ab" * 32)
    return cast(SqlStore, SimpleNamespace(stored_run=lambda _: run, key=key))


def _laboratory(name: str) -> Laboratory:
    data = LaboratoryFile(name=name, authorised=(Authorised(name="B. Tarn"),))
    return Laboratory(Path("laboratory.toml"), data)


def test_the_laboratory_that_restricted_a_run_says_who_may() -> None:
    found = authority_for(_store(), "a", _laboratory("Fennel"), "approve", "B. Tarn")
    assert found is not None
    assert found.laboratory == "Fennel"


@pytest.mark.parametrize("laboratory", [_laboratory("Tansy"), None])
def test_another_laboratory_does_not(laboratory: Laboratory | None) -> None:
    """Would notice a run that anybody may approve by a file of their own making."""
    with pytest.raises(UsageError, match="Who may approve was restricted by Fennel"):
        authority_for(_store(), "a", laboratory, "approve", "B. Tarn")
