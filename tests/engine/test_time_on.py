"""How long RF was on at most where nobody read it as off, and which releases are slow."""

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.engine.release import ConfirmedRelease
from ohmwright.engine.time_on import latest_off_s, most_on_s, slow_release

STAMP: Any = {"at": datetime(2026, 1, 5, tzinfo=UTC), "bench_s": 20.0}


def bench_at(
    now_s: float, *, by_foot: bool = False, by_eye: bool = False, rf: str = "unknown", **more: Any
) -> Any:
    """A bench whose clock says `now_s`; `more`: of its analyzer."""
    meter = SimpleNamespace(window_s=1.0, readings_per_s=4.0)
    return SimpleNamespace(
        clock=SimpleNamespace(now_s=lambda: now_s),
        keyed_by="A. Tech" if by_foot else None,
        rf=SimpleNamespace(state=rf, off_since_s=now_s if rf == "off" else None),
        analyzer=SimpleNamespace(
            keyed_by_foot=by_foot,
            read_by_eye=by_eye,
            data=SimpleNamespace(meter=meter),
            **{"on_since_s": None, **more},
        ),
    )


@pytest.mark.parametrize(("now_s", "off_s"), [(4.0, 4.0), (20.0, 11.0)])
def test_an_instrument_ends_rf_at_its_limit(now_s: float, off_s: float) -> None:
    """Would notice a time on counted to the limit, or beyond it, whatever the clock says."""
    bench = bench_at(now_s)
    assert latest_off_s(bench, 1.0, 10.0, None) == off_s
    assert most_on_s(bench, 1.0, off_s) == off_s - 1.0


def test_at_a_foot_switch_rf_counts_until_now_unless_it_was_never_pressed() -> None:
    """Would notice RF not counted at all where it was pressed, or was not read as off."""
    opened: Any = object()
    assert latest_off_s(bench_at(20.0, by_foot=True, rf="off"), 1.0, 10.0, opened) == 20.0
    assert latest_off_s(bench_at(20.0, by_foot=True), 1.0, 10.0, None) == 20.0
    pressed = bench_at(20.0, by_foot=True, rf="off", on_since_s=3.0)
    assert latest_off_s(pressed, 1.0, 10.0, None) == 20.0
    assert latest_off_s(bench_at(20.0, by_foot=True, rf="off"), 1.0, 10.0, None) == 1.0


@pytest.mark.parametrize(
    ("by_foot", "by_eye", "took_s", "slow"),
    [
        *((False, False, 0.4, False), (False, False, 0.6, True)),
        *((True, False, 2.9, False), (True, False, 3.1, True)),
        *((True, True, 7.9, False), (True, True, 8.1, True)),
    ],
)
def test_who_types_is_given_longer_than_who_lets_go(
    *, by_foot: bool, by_eye: bool, took_s: float, slow: bool
) -> None:
    release = ConfirmedRelease(took_s, stayed_closed=False, sent=1, last_on_s=0.0, is_tail=False)
    said = slow_release(bench_at(20.0, by_foot=by_foot, by_eye=by_eye), release, STAMP)
    assert (said is not None) is slow
