"""A terminal on which nothing can be drawn anew is spoken to as a pipe is."""

from __future__ import annotations

import io
import sys

import pytest

from ohmwright.cli.console import err


class Terminal(io.StringIO):
    """A terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("term", "draws"), [("xterm", True), ("dumb", False), ("unknown", False)])
def test_presses_are_asked_for_by_requests_where_nothing_can_be_drawn(
    term: str, draws: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", term)
    for forcing in ("FORCE_COLOR", "TTY_COMPATIBLE", "TTY_INTERACTIVE"):
        monkeypatch.delenv(forcing, raising=False)
    monkeypatch.setattr(sys, "stderr", Terminal())
    assert err.__wrapped__().is_terminal is draws
