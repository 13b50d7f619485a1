"""Whether OFF was taken is said from what came back, and OFF goes out as it was given."""

from __future__ import annotations

import anyio
import pytest

from ohmwright.instruments.back_ends.line import InstrumentLine
from ohmwright.instruments.back_ends.release_line import ReleaseLine, plain_orders
from ohmwright.instruments.conformance_off import off_taken
from ohmwright.model.errors import LinkTimeout
from ohmwright.wire.clock import RealClock
from ohmwright.wire.link import Link

pytestmark = pytest.mark.anyio
REFUSAL = b"000N????07 CHECKSUM\r\n"


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


class FixedWidth(Link):
    """Takes records of fixed width: OFF with anything in front is refused."""

    name = "fixed width"

    def __init__(self) -> None:
        self.written: list[bytes] = []
        self._came = b""

    async def write(self, data: bytes) -> None:
        self.written.append(data)
        self._came += {b"KOPN\r": b"OPEN DONE\r\n", b"KSTA\r": b"OPEN\r\n"}.get(data, REFUSAL)

    async def read(self, timeout_s: float) -> bytes:
        came, self._came = self._came, b""
        if came:
            return came
        await anyio.sleep(min(timeout_s, 0.01))
        raise LinkTimeout("nothing came")

    async def aclose(self) -> None:
        return


async def released(**more: bytes) -> tuple[FixedWidth, ReleaseLine]:
    """The link and the line after OFF and one look at the state."""
    orders = plain_orders(b"KOPN\r", b"KSTA\r", [b"OPEN"], ends=b"\r\n", **more)  # type: ignore[arg-type]
    link = FixedWidth()
    line = ReleaseLine(link, InstrumentLine(link, RealClock(), 1), orders, RealClock())
    await line.switch_off()
    assert not await line.reads_on()
    return link, line


async def test_off_goes_out_as_it_was_given_and_alone() -> None:
    link, _ = await released()
    assert link.written[0] == b"KOPN\r"


async def test_an_off_that_is_refused_is_not_good_and_its_bytes_are_shown() -> None:
    _, line = await released(off_answer=b"OPEN DONE", unfinished=b"\n")
    seen = off_taken(line.off_answer, "it reads off")
    assert seen.state == "NOT GOOD"
    assert "000N????07 CHECKSUM" in seen.what


async def test_an_off_that_is_acknowledged_is_good() -> None:
    _, line = await released(off_answer=b"OPEN DONE")
    assert off_taken(line.off_answer, "it reads off").state == "good"


async def test_an_off_of_which_no_answer_is_known_is_not_proved() -> None:
    _, line = await released()
    seen = off_taken(line.off_answer, "it reads off")
    assert seen.state == "not checked"
    assert "not proved with RF off" in seen.what
    assert "OPEN DONE" in seen.what
