"""What an instrument reads of SCPI text."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.simulator.scpi_text import headers, parse_boolean, split
from ohmwright.wire.scpi import quote


def test_headers_are_long_or_short_and_never_between() -> None:
    assert headers("SYSTem:ERRor[:NEXT]?") == {
        f"{system}:{error}{following}?"
        for system in ("SYSTEM", "SYST")
        for error in ("ERROR", "ERR")
        for following in ("", ":NEXT")
    }
    assert headers("*ESE") == {"*ESE"}


@pytest.mark.parametrize(
    ("text", "value"), [("ON", True), ("off", False), ("1", True), ("0", False)]
)
def test_booleans(text: str, value: bool) -> None:
    assert parse_boolean(text) is value


def test_what_is_no_boolean() -> None:
    with pytest.raises(ValueError, match="neither"):
        parse_boolean("2")


@given(st.lists(st.text(alphabet='a;,"', max_size=6), min_size=1, max_size=4))
def test_separators_in_quotes_do_not_separate(texts: list[str]) -> None:
    assert split(";".join(map(quote, texts)), ";") == [quote(text) for text in texts]
