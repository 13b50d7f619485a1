"""Readings that a person types: what counts as zero, and what no meter can show."""

from types import SimpleNamespace

import anyio
import pytest

from ohmwright.instruments.hand_requests import TypeReading
from ohmwright.instruments.operator import Operator, StopRun
from ohmwright.instruments.requests import Request
from ohmwright.instruments.rf_monitor import RfMonitor
from ohmwright.instruments.typed_meter import POSTPONED, TypedMeter
from ohmwright.model.hardware import MeterData
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio
METER = MeterData(max_current_ma=2000, resolution_ma=1, readings_per_s=4, window_s=1)


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


class Typist(Operator):
    """Gives each answer after its time in s; `silent` stands for none at all."""

    name = "B. Tech"

    def __init__(self, clock: VirtualClock, *answers: tuple[float, str]) -> None:
        self.left, self._clock = list(answers), clock
        self.told: list[str] = []

    async def tell(self, words: str) -> None:
        self.told.append(words)

    def take_back(self, words: str) -> None:
        self.told = [told for told in self.told if told != words]

    async def reply(self, request: Request, problem: str) -> str:
        after_s, said = self.left.pop(0)
        await self._clock.sleep(after_s)
        if said == "silent":
            await anyio.sleep_forever()
        return said


@pytest.mark.parametrize(
    ("zero_after_s", "asked"), [(0.4, 2), (0.9, 2), (1.1, 1)], ids=["0.4 s", "0.9 s", "1.1 s"]
)
async def test_the_end_of_a_figure_is_no_zero(zero_after_s: float, asked: int) -> None:
    """Of 400, the last 0 was typed when the question had just been withdrawn."""
    clock = VirtualClock()
    typist = Typist(clock, (0.0, "silent"), (zero_after_s, "0"), (2.0, "0"))
    meter = TypedMeter(METER, typist, clock)
    await meter.read("current", until_s=0.01)
    assert (await meter.read_off()).current_ma == 0
    assert 1 + asked == 3 - len(typist.left)


async def test_it_is_asked_again_once_on_a_clock_that_stands_still() -> None:
    clock = VirtualClock()
    typist = Typist(clock, (0.0, "silent"), (0.0, "0"), (0.0, "0"))
    meter = TypedMeter(METER, typist, clock)
    await meter.read("current", until_s=0.01)
    assert (await meter.read_off()).current_ma == 0
    assert typist.left == []


async def test_what_was_typed_as_zero_is_the_meters_zero_without_a_wait() -> None:
    clock = VirtualClock()
    meter = TypedMeter(METER, Typist(clock, (1.0, "2")), clock)
    slow = METER.model_copy(update={"readings_per_s": 0.25})
    analyzer = SimpleNamespace(
        keyed_by_foot=True, read_by_eye=True, typed_s=0.0,
        data=SimpleNamespace(meter=slow), fetch_current=meter.read_off,
    )  # fmt: skip
    monitor = RfMonitor(analyzer, clock)  # type: ignore[arg-type]
    assert await monitor.evidence_on() is None
    assert await monitor.measure_zero() is None
    assert (clock.now_s(), monitor.zero_limit_ma) == (1.0, 5.0)


async def test_a_zero_from_before_an_activation_says_nothing_after_it() -> None:
    """Would notice `begin` keeping that zero: nobody typed since, and the switch may be down."""
    clock = VirtualClock()
    typist = Typist(clock, (0.0, "0"), (0.0, "silent"), (2.0, "400"))
    meter = TypedMeter(METER, typist, clock)
    assert (await meter.read_off()).current_ma == 0
    meter.begin()
    await meter.read("current", until_s=0.01)
    assert (await meter.read_off()).current_ma == 400


async def test_who_stops_while_off_is_not_known_is_told_what_is_asked_first() -> None:
    clock = VirtualClock()
    typist = Typist(clock, (1.0, "stop"), (0.0, "silent"))
    meter = TypedMeter(METER, typist, clock)
    with anyio.move_on_after(0.05):
        await meter.read_off()
    assert typist.told == [POSTPONED]
    typist.left = [(1.0, "0")]
    assert (await meter.read_off()).current_ma == 0
    assert typist.told == []
    with pytest.raises(StopRun):
        await meter.read("current", until_s=9)


@pytest.mark.parametrize("said", ["3000", "2201", "3 A"])
@pytest.mark.parametrize("off", [True, False])
def test_beyond_the_range_is_asked_again(said: str, off: bool) -> None:
    request = TypeReading(METER, rf_to_be_off=off)
    assert request.answer(said) is None
    assert request.problem(said) == "The meter ends at 2000 mA. Was A meant, or mA?"
    assert request.answer("2100") is not None, "some displays count on for a little"


@pytest.mark.parametrize(
    ("said", "means"),
    [("0,0", "0"), ("0,25", "0.25"), ("1,234 mA", "1.234"), ("0,2505 A", "250.5")],
)
def test_a_figure_that_is_too_fine_is_asked_again_with_what_it_means(said: str, means: str) -> None:
    """A decimal comma is taken: the finer digit is what is wrong."""
    request = TypeReading(METER)
    assert request.answer(said) is None
    assert request.problem(said) == (
        f"'{said}' is {means} mA, finer than the meter's last digit, 1 mA. "
        "Type it as the meter shows it: 412, 412 mA or 0.412 A."
    )
    assert request.answer("0,250 A") is not None
