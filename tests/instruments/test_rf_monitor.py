"""What an answer that does not come says of RF."""

from math import nan
from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.rf_monitor import RfMonitor
from ohmwright.model.errors import LinkError, LinkTimeout
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


async def test_rf_that_was_read_as_off_is_not_left_on() -> None:
    """A line that is lost later would have whoever is there run to the mains switch for nothing."""

    async def off(*_: Any) -> Any:
        return None

    async def no_current(*_: Any) -> Reading:
        return Reading(0.0, 1)

    meter = SimpleNamespace(resolution_ma=1.0, zero_ma=None, largest_zero_ma=5.0)
    analyzer: Any = SimpleNamespace(
        keyed_by_foot=False,
        read_by_eye=False,
        output_on=off,
        left_s=off,
        fetch_current=no_current,
        data=SimpleNamespace(meter=meter),
    )
    monitor = RfMonitor(analyzer, VirtualClock())
    assert not monitor.is_left_on
    monitor.set_unknown()
    assert monitor.is_left_on
    assert await monitor.evidence_on() is None
    assert not monitor.is_left_on


def reads(
    left_s: float | None = None, shown_ma: float = 0.0, zero_ma: float | None = None
) -> RfMonitor:
    """The monitor of an open output, what is left of its limit, and what its meter shows."""

    async def output_on() -> bool:
        return False

    async def left() -> float | None:
        return left_s

    async def fetch_current() -> Reading:
        return Reading(shown_ma, 1)

    meter = SimpleNamespace(
        resolution_ma=1.0,
        zero_ma=zero_ma,
        largest_zero_ma=50.0,
        max_current_ma=2e3,
        readings_per_s=4,
    )
    analyzer: Any = SimpleNamespace(
        keyed_by_foot=False,
        read_by_eye=False,
        output_on=output_on,
        left_s=left,
        fetch_current=fetch_current,
        data=SimpleNamespace(meter=meter),
    )
    return RfMonitor(analyzer, VirtualClock())


async def test_a_limit_that_runs_to_its_very_end_is_rf() -> None:
    assert await reads(left_s=0.05).evidence_on() is not None
    assert await reads(left_s=0.0).evidence_on() is None


async def test_off_counts_anew_once_on_may_have_been_sent() -> None:
    """Would notice RF whose time on counts from an off of long before."""
    monitor = reads()
    assert await monitor.evidence_on() is None
    assert monitor.off_since_s is not None
    monitor.set_unknown()
    assert monitor.off_since_s is None


@pytest.mark.parametrize(("stated_ma", "limit_ma"), [(None, 10.0), (4.0, 10.0), (12.0, 12.0)])
async def test_no_current_is_what_the_meter_shows_or_what_its_data_state(
    stated_ma: float | None, limit_ma: float
) -> None:
    monitor = reads(shown_ma=7.0, zero_ma=stated_ma)
    assert await monitor.measure_zero() is None
    assert monitor.zero_limit_ma == limit_ma


async def test_a_meter_that_shows_nothing_for_a_while_is_waited_for() -> None:
    """Would notice RF that a foot keeps on, read as off while the meter sets its zero."""
    shown = [nan, nan, 412.0, nan, nan, 0.0]

    async def fetch_current() -> Reading:
        return Reading(shown.pop(0))

    meter = SimpleNamespace(
        resolution_ma=1.0, zero_ma=None, largest_zero_ma=5.0, max_current_ma=2e3, readings_per_s=4
    )
    analyzer: Any = SimpleNamespace(
        keyed_by_foot=True,
        load_ohm=None,
        read_by_eye=False,
        fetch_current=fetch_current,
        data=SimpleNamespace(meter=meter),
    )
    monitor = RfMonitor(analyzer, VirtualClock())
    assert await monitor.evidence_on() == "the meter shows 412 mA"
    assert await monitor.evidence_on() is None
    assert not shown


async def test_a_glance_that_fails_is_no_glance_at_off() -> None:
    """Would notice a rest that goes on, with RF said to be off, on a line that is silent."""

    async def silent(*_: Any) -> Any:
        raise LinkTimeout("nothing came")

    analyzer: Any = SimpleNamespace(glance=silent, output_on=silent, keyed_by_foot=False)
    monitor = RfMonitor(analyzer, VirtualClock())
    assert await monitor.may_be_on()
    with pytest.raises(LinkError):
        await monitor.found_on()
    assert monitor.state == "unknown"


async def test_since_when_rf_may_have_been_on_is_counted_from_an_off_that_is_proved() -> None:
    """Would notice RF said to have been on for less than it may have been, of a foot switch."""

    async def no_current(*_: Any) -> Reading:
        return Reading(0.0)

    async def glance() -> tuple[bool, float]:
        return False, 0.0

    meter = SimpleNamespace(resolution_ma=1.0, zero_ma=None, largest_zero_ma=5.0)
    analyzer: Any = SimpleNamespace(
        keyed_by_foot=True,
        load_ohm=None,
        read_by_eye=False,
        glance=glance,
        fetch_current=no_current,
        data=SimpleNamespace(meter=meter),
    )
    clock = VirtualClock()
    monitor = RfMonitor(analyzer, clock)
    assert not await monitor.may_be_on()
    assert monitor.last_off_s is None
    monitor.note_current(400.0, 400.0)
    clock.advance(1.0)
    assert not await monitor.may_be_on()
    assert monitor.last_off_s == 1.0
    clock.advance(1.0)
    assert await monitor.evidence_on() is None
    assert monitor.last_off_s == 2.0
