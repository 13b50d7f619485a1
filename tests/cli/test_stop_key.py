"""Which keys stop a run where the figures of a meter are typed, too."""

import pytest

from ohmwright.cli import stop_key
from ohmwright.cli.stop_key import StopKey
from ohmwright.wire.clock import VirtualClock


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> VirtualClock:
    clock = VirtualClock()
    monkeypatch.setattr(stop_key, "_TIME", clock)
    return clock


@pytest.mark.parametrize(
    ("keys", "name"),
    [(b" ", "space"), (b"q", "q"), (b"Q", "q"), (b"\x04", "Ctrl-D"), (b"x", ""), (b"412", "")],
)
def test_space_q_and_ctrl_d_stop(clock: VirtualClock, keys: bytes, name: str) -> None:
    for asks_for_figures in (True, False):
        assert StopKey(figures=lambda asks=asks_for_figures: asks)._stop_among(keys) == name


def test_a_space_belongs_to_a_figure_only_soon_after_its_digit(clock: VirtualClock) -> None:
    key = StopKey(figures=lambda: True)
    assert (key._stop_among(b"412 mA"), key.typed_early) == ("", True)
    assert key._stop_among(b" ") == "space", "no digit stands before it"
    assert key._stop_among(b"4") == ""
    clock.advance(3.0)
    assert key._stop_among(b" ") == "space"
    assert StopKey()._stop_among(b"412 ") == "space", "no figure is asked for"
