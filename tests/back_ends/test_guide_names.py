"""The guide names each field of the release orders, each method of the line, and what to raise."""

from __future__ import annotations

import inspect
from dataclasses import fields

import pytest

from ohmwright import back_ends, guide

PAGE = guide.page("own_analyzer")
_PUBLIC_LINE = ("ask", "write", "read_until", "read_exactly", "pause")


@pytest.mark.parametrize("field", [each.name for each in fields(back_ends.ReleaseOrders)])
def test_each_field_of_the_release_orders(field: str) -> None:
    assert f"`{field}`" in PAGE


@pytest.mark.parametrize("given", inspect.signature(back_ends.plain_orders).parameters)
def test_each_argument_of_plain_orders(given: str) -> None:
    table = PAGE[PAGE.index("| `plain_orders` |") : PAGE.index("| `ReleaseOrders` |")]
    assert f"| `{given}` |" in table


@pytest.mark.parametrize("method", _PUBLIC_LINE)
def test_each_method_of_the_line_by_its_arguments(method: str) -> None:
    named = [
        name
        for name in inspect.signature(getattr(back_ends.InstrumentLine, method)).parameters
        if name != "self"
    ]
    assert f"| `{method}({', '.join(named)})` |" in PAGE


@pytest.mark.parametrize("error", ["ProtocolError", "LinkTimeout", "InstrumentRefused"])
def test_each_error_that_a_back_end_raises(error: str) -> None:
    assert f"| `{error}(" in PAGE
    assert error in back_ends.__all__
