"""What a person's part of the analyzer keeps from one question, and one activation, to the next."""

from contextlib import nullcontext
from math import isnan, nan
from typing import Any
from unittest.mock import AsyncMock, Mock

import pytest

from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.hand_requests import ConnectLoad
from ohmwright.instruments.hand_worked_analyzer import HandWorkedAnalyzer
from ohmwright.instruments.operator import GoBack, Operator, StopRun
from ohmwright.instruments.requests import Request
from ohmwright.model.by_hand import HandVerb
from ohmwright.model.errors import LinkTimeout
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio
DATA = load(shipped("analyzers", "gantry-400.toml"), AnalyzerData, table="data")


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


class Answering(Operator):
    """Gives each answer in turn, a second after it was asked."""

    name = "B. Tech"

    def __init__(self, clock: VirtualClock, *answers: str) -> None:
        self._clock, self._answers, self.asked = clock, list(answers), list[Request]()

    async def reply(self, request: Request, problem: str) -> str:
        await self._clock.sleep(1.0)
        self.asked.append(request)
        return self._answers.pop(0)

    async def tell(self, words: str) -> None:
        return


def worked_by(
    *answers: str, by_hand: tuple[HandVerb, ...] = (), linked: Any = None
) -> tuple[HandWorkedAnalyzer, Answering, VirtualClock]:
    clock = VirtualClock()
    person = Answering(clock, *answers)
    return HandWorkedAnalyzer(DATA, by_hand, person, clock, linked), person, clock


async def test_a_load_that_nobody_has_set_is_asked_for_again() -> None:
    """Would notice a load taken as connected by whoever went back instead: a wrong power."""
    analyzer, person, _ = worked_by("back", "done", by_hand=("load",))
    with pytest.raises(GoBack):
        await analyzer.set_load(300)
    for _ in range(2):
        await analyzer.set_load(300)
    assert person.asked == [ConnectLoad(300)] * 2


async def test_a_linked_meter_of_power_knows_the_load_that_a_person_connects() -> None:
    linked = Mock(verbs=None, load_ohm=None)
    analyzer, _, _ = worked_by("done", by_hand=("load",), linked=linked)
    await analyzer.set_load(300)
    assert linked.load_ohm == 300


async def test_a_meter_that_shows_nothing_says_nothing_of_the_foot_switch() -> None:
    """Would notice a switch taken as let go while the meter sets its zero."""
    meter = AsyncMock(side_effect=[Reading(412.0), Reading(nan)])
    linked = Mock(verbs=None, fetch_current=meter)
    analyzer, _, _ = worked_by(by_hand=("foot switch",), linked=linked)
    await analyzer.fetch_current()
    assert await analyzer.output_on()


async def test_a_load_that_a_line_connects_is_read_back_by_that_line() -> None:
    """Would notice one turned while RF was on that a typed meter's readings are taken for."""
    linked = Mock(verbs=None, load_connected_ohm=AsyncMock(return_value=200.0))
    by_line, _, _ = worked_by(by_hand=("reading",), linked=linked)
    assert await by_line.load_connected_ohm() == 200.0
    by_hand, _, _ = worked_by(by_hand=("reading", "load"), linked=linked)
    assert await by_hand.load_connected_ohm() is None


async def test_the_guard_waits_for_whoever_types() -> None:
    """Would notice a watch that trips while a person reads the meter."""
    linked = Mock(verbs=None, begin_watch=AsyncMock())
    analyzer, _, _ = worked_by(by_hand=("reading",), linked=linked)
    await analyzer.begin_watch(0.5)
    linked.begin_watch.assert_awaited_once_with(0.5 + DATA.load_bank.max_on_s)


async def test_a_current_of_the_activation_before_is_none_of_this_one() -> None:
    """Would notice RF taken as on by what was typed before; and a press that is dated exactly."""
    analyzer, _, _ = worked_by("p", "400", "p", by_hand=("load", "foot switch", "reading"))
    await analyzer.switch_on(10.0)
    await analyzer.fetch_current()
    assert analyzer.dating_s == 1.0 + 1.0 / 2, "the press, and half of the time of a look"
    await analyzer.switch_off()
    assert await analyzer.output_on()
    await analyzer.end_watch()
    await analyzer.switch_on(10.0)
    assert not await analyzer.output_on()


async def test_after_an_activation_that_was_ended_the_meter_is_asked_with_rf_off() -> None:
    """Would notice a question for a current with RF on, until the limit, after the watch ended."""
    linked = Mock(verbs=None, switch_on=AsyncMock(), end_watch=AsyncMock(), on_since_s=0.0)
    analyzer, person, _ = worked_by("400", "0", by_hand=("reading",), linked=linked)
    await analyzer.switch_on(10.0)
    await analyzer.fetch_current()
    await analyzer.end_watch()
    await analyzer.fetch_current()
    assert [vars(one)["rf_to_be_off"] for one in person.asked] == [False, True]


@pytest.mark.parametrize("next_verb", ["set_load", "switch_on"])
async def test_who_said_stop_while_off_was_asked_for_is_not_asked_to_key(next_verb: str) -> None:
    """It was raised by the next reading with RF on: after the foot switch had been pressed."""
    analyzer, person, _ = worked_by("stop", "0", by_hand=("load", "foot switch", "reading"))
    await analyzer.fetch_current()
    with pytest.raises(StopRun):
        await getattr(analyzer, next_verb)(10.0)
    assert len(person.asked) == 2


async def test_what_nobody_typed_is_no_current_that_has_gone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would notice a question that was withdrawn taken for a foot switch that was let go."""
    analyzer, _, _ = worked_by("p", "400", by_hand=("load", "foot switch", "reading"))
    await analyzer.switch_on(10.0)
    assert (await analyzer.fetch_current()).current_ma == 400
    monkeypatch.setattr(
        "ohmwright.instruments.typed_meter.TypedMeter.read",
        AsyncMock(return_value=Reading(nan, None, by_hand=True)),
    )
    assert isnan((await analyzer.fetch_current()).current_ma)
    assert vars(analyzer)["_latest_ma"] == 400


@pytest.mark.parametrize("answers", [True, False])
async def test_once_off_is_sent_what_is_asked_for_is_no_current(answers: bool) -> None:
    """Would notice a question for a current, which a word or the limit ends, taken for off."""
    off = AsyncMock() if answers else AsyncMock(side_effect=LinkTimeout("No answer."))
    linked = Mock(verbs=None, switch_on=AsyncMock(), switch_off=off, on_since_s=0.0)
    analyzer, person, _ = worked_by("back", "0", by_hand=("reading",), linked=linked)
    await analyzer.switch_on(10.0)
    with nullcontext() if answers else pytest.raises(LinkTimeout):
        await analyzer.switch_off()
    assert (await analyzer.fetch_current()).current_ma == 0
    assert [vars(one)["rf_to_be_off"] for one in person.asked] == [True, True]


async def test_with_typed_readings_a_glance_still_looks_at_the_keying_output() -> None:
    """Would notice rests that look at nothing where a command keys RF."""
    linked = Mock(verbs=None, output_on=AsyncMock(return_value=True))
    analyzer, person, _ = worked_by(by_hand=("reading",), linked=linked)
    assert await analyzer.glance() == (True, 0.0)
    assert not person.asked
