"""What an answer that does not come says of RF."""

from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.instruments.rf_monitor import RfMonitor
from ohmwright.model.errors import LinkError, LinkTimeout
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


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
