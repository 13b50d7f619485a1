"""The line of a back end, by itself."""

from threading import current_thread
from unittest.mock import AsyncMock, Mock

import anyio.to_thread
import pytest

from ohmwright.instruments.back_ends.line import InstrumentLine
from ohmwright.model.errors import LinkTimeout
from ohmwright.wire.clock import VirtualClock


@pytest.mark.anyio
async def test_a_reply_without_an_end_is_not_said_to_have_taken_its_time() -> None:
    link = Mock(read=AsyncMock(return_value=b"7" * (1 << 20)))
    line = InstrumentLine(link, VirtualClock(), timeout_s=5.0)

    def ask() -> None:
        line.hand_to(current_thread())
        line.read_until(b"\n")

    with pytest.raises(LinkTimeout, match=f"no whole reply in {5 << 20} bytes"):
        await anyio.to_thread.run_sync(ask)
