"""The place of the data shipped with the program: in a wheel, or in a checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parents[1]
_IN_WHEEL = _PACKAGE / "sim_profiles"
_IN_CHECKOUT = _PACKAGE.parents[1] / "sim_profiles"


def shipped(*parts: str) -> Path:
    """The path of shipped data, such as `shipped("generators", "quillon-300.toml")`.

    The path need not exist; opening it tells.
    """
    root = _IN_WHEEL if _IN_WHEEL.is_dir() else _IN_CHECKOUT
    return root.joinpath(*parts)
