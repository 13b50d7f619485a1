"""What a remote analyzer does not take on trust, each protection by itself."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.model.errors import ProtocolError, ReleaseNotConfirmed
from ohmwright.model.hardware import ActivationOutput, AnalyzerData, LoadBankData, MeterData
from ohmwright.simulator.dispatcher import Dispatcher, common_commands
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.links.memory import MemoryLink
from ohmwright.wire.verified_dialogue import same_number

pytestmark = pytest.mark.anyio
DATA = AnalyzerData(
    maker="m",
    model="a",
    command_set="scpi-1999-analyzer",
    load_bank=LoadBankData(loads_ohm=(100, 300), max_power_w=400, max_on_s=30),
    meter=MeterData(max_current_ma=2000, resolution_ma=1, readings_per_s=5, window_s=0.5),
    activation=ActivationOutput(max_limit_s=25),
)
Make = Callable[..., RemoteAnalyzer]


class Promises(MemoryLink):
    """Remembers what the guard was promised."""

    def __init__(self, *given: object) -> None:
        super().__init__(*given)  # type: ignore[arg-type]
        self.every_s: list[float | None] = []

    async def expect_traffic(self, every_s: float | None) -> None:
        self.every_s.append(every_s)


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def make() -> Make:
    def make(**answers: str) -> RemoteAnalyzer:
        """An analyzer that takes everything and gives these answers."""
        dispatcher = Dispatcher()
        common_commands(dispatcher, "Maker,Model,1,0", lambda: None)
        usual = {
            "state": "0",
            "load": "300",
            "ceiling": "10",
            "remaining": "10",
        }
        headers = {
            "state": "OUTPut:STATe",
            "load": "INPut:IMPedance",
            "ceiling": "OUTPut:STATe:CEILing",
            "remaining": "OUTPut:STATe:REMaining",
        }
        for name, reply in {**usual, **answers}.items():
            dispatcher.on(f"{headers[name]}?", lambda _, reply=reply: reply)  # type: ignore[misc]
            dispatcher.on(headers[name], lambda _: None)
        clock = VirtualClock()
        commands = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
        link = Promises("analyzer", dispatcher.handle, clock)
        return RemoteAnalyzer(DATA, Dialogue(link, commands, clock))

    return make


@pytest.mark.parametrize("state", ["1", "2", "-1", "0.5", "1E-9", "9.91E+37", "9.9E+37"])
async def test_anything_but_a_plain_0_is_on(make: Make, state: str) -> None:
    assert await make(state=state).output_on()


@pytest.mark.parametrize("state", ["0", "+0", "0.0", "-0.0E0"])
async def test_0_is_off(make: Make, state: str) -> None:
    assert not await make(state=state).output_on()


@pytest.mark.parametrize("left_s", ["60", "10.1", "7.9", "1"])
async def test_another_limit_than_was_sent_is_not_left_to_run(make: Make, left_s: str) -> None:
    with pytest.raises(ProtocolError, match="would hold RF on"):
        await make(remaining=left_s).switch_on(10)


@pytest.mark.parametrize("left_s", ["9.91E+37", "9.9E+37"])
async def test_what_is_no_number_is_not_told_as_a_limit(make: Make, left_s: str) -> None:
    with pytest.raises(ProtocolError, match="gives no number for the time left"):
        await make(remaining=left_s).switch_on(10)


async def test_an_activation_that_does_not_run_was_keyed_elsewhere(make: Make) -> None:
    with pytest.raises(ReleaseNotConfirmed, match="ELSEWHERE"):
        await make(remaining="0").switch_on(10)


async def test_whole_seconds_rounded_down_may_be_0_while_an_activation_runs(make: Make) -> None:
    await make(ceiling="1", remaining="0", state="1").switch_on(1)
    with pytest.raises(ProtocolError, match="would hold RF on for 0 s"):
        await make(remaining="0", state="1").switch_on(10)


@pytest.mark.parametrize("left_s", ["10", "9.9", "8.1"])
async def test_the_limit_that_was_sent_may_run(make: Make, left_s: str) -> None:
    await make(remaining=left_s).switch_on(10)


@pytest.mark.parametrize("load", ["299", "301", "299.8", "300.2", "150", "450", "9.91E37"])
async def test_another_load_is_not_the_one_that_was_set(make: Make, load: str) -> None:
    with pytest.raises(ProtocolError, match="reads back"):
        await make(load=load).set_load(300)


@pytest.mark.parametrize("load", ["300", "+3.00000E+02", "300.1", "299.9"])
async def test_a_load_may_be_rounded(make: Make, load: str) -> None:
    await make(load=load).set_load(300)


async def test_another_ceiling_is_no_ceiling_and_nothing_is_switched_on(make: Make) -> None:
    analyzer = make(ceiling="15")
    with pytest.raises(ProtocolError, match="reads back '15'"):
        await analyzer.switch_on(10)
    sent = b"".join(data for _, way, data in analyzer.dialogue.framing.trace if way == ">")
    assert b"STATe ON" not in sent


@pytest.mark.parametrize(
    ("read", "value", "same"),
    [
        (300.0, 300, True),
        (300.1, 300, True),
        (300.2, 300, False),
        (150.0, 300, False),
        (0.0, 300, False),
        (-300.0, 300, False),
        (0.0, 0, True),
        (0.001, 0, False),
        ("300", 300, False),
    ],
)
def test_numbers_that_are_one(read: float | str, value: float, same: bool) -> None:
    assert same_number(read, value) is same


async def test_what_is_promised_to_the_guard_is_no_longer_than_a_dialogue_is_silent(
    make: Make,
) -> None:
    analyzer = make()
    link = analyzer.dialogue.framing.link
    assert isinstance(link, Promises)
    await analyzer.begin_watch()
    await analyzer.begin_watch(12.0)
    await analyzer.end_watch()
    timeout_s, reading_s = analyzer.dialogue.commands.timeout_s, 0.2
    plain_s, silent_s, taken_back = link.every_s
    assert plain_s is not None
    assert silent_s is not None
    assert timeout_s + reading_s < plain_s < timeout_s + 2 * reading_s + 1
    assert silent_s - plain_s == pytest.approx(12)
    assert taken_back is None


@pytest.mark.parametrize("state", ["1", "2", "-1", "0.5"])
async def test_at_a_glance_too_anything_but_a_plain_0_is_on(make: Make, state: str) -> None:
    analyzer = make(state=state)
    reads_none = analyzer.dialogue.framing.link._handle  # type: ignore[attr-defined]
    analyzer.dialogue.framing.link._handle = lambda line: (  # type: ignore[attr-defined]
        b"+0.00000E+00,A,00001\n" if b"FETCh" in line else reads_none(line)
    )
    assert (await analyzer.glance())[0] is True


async def test_a_single_0_does_not_make_an_output_read_off(make: Make) -> None:
    analyzer, said = make(state="1"), [b"0\n"]
    usual = analyzer.dialogue.framing.link._handle  # type: ignore[attr-defined]
    analyzer.dialogue.framing.link._handle = lambda line: (  # type: ignore[attr-defined]
        said.pop() if said and line == b"OUTPut:STATe?\n" else usual(line)
    )
    assert await analyzer.output_on()
    assert said == []
