"""The account's name, also where the computer has none for its number."""

import getpass

import pytest

from ohmwright.model.account import account_name


def test_a_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(getpass, "getuser", lambda: "marta")
    assert account_name() == "marta"


@pytest.mark.parametrize("problem", [KeyError("getpwuid(): uid not found: 7"), OSError("no name")])
def test_a_number_without_a_name(monkeypatch: pytest.MonkeyPatch, problem: Exception) -> None:
    def nobody() -> str:
        raise problem

    monkeypatch.setattr(getpass, "getuser", nobody)
    assert account_name().startswith("user id ")
