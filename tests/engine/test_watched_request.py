"""While a request waits for a person, RF is watched to stay off."""

from collections.abc import Callable
from typing import Any

import anyio
import pytest

from ohmwright.engine import watched_request
from ohmwright.instruments.requests import SelectMode
from ohmwright.model.errors import LinkTimeout
from ohmwright.model.event import Asked, Event, PointDone, UnaskedRf

from .test_evidence import one_cut_output

POINT = "setting_w = 100\nload_ohm = 500\npower_w = 100\ntolerance = { percent = 20 }\n"
pytestmark = pytest.mark.anyio
Pedal = Callable[[], None]


class SlowPerson:
    """Takes long for mode and setting, as somebody with a lead in their hands."""

    def __init__(self, rig: Any, open_s: float) -> None:
        self._panel, self._clock, self._open_s = rig.hardware.panel, rig.bench.clock, open_s
        self._ask = rig.bench.operator.reply
        self.told: list[str] = []
        self.slips = 1
        """How often a foot slips onto the pedal."""
        rig.bench.operator.reply, rig.bench.operator.tell = self.reply, self.tell
        rig.bench.operator.answers_in_own_time = True

    async def reply(self, request: Any, problem: str) -> str:
        if isinstance(request, SelectMode):
            try:
                if self.slips > 0:
                    self.slips -= 1
                    self._panel.select("cut", 100)
                    self._panel.pedal(down=True)
                    await self._clock.sleep(3)
                await anyio.sleep(self._open_s)
            finally:
                self._panel.pedal(down=False)
        return str(await self._ask(request, problem))

    async def tell(self, words: str) -> None:
        self.told.append(words)


@pytest.fixture
def slow_run(
    make_rig: Callable[..., Any], tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Any]:
    monkeypatch.setattr(watched_request, "LOOK_EVERY_S", 0.01)

    async def run(person: Callable[[Any], SlowPerson]) -> tuple[SlowPerson, list[Event]]:
        rig = make_rig(seed=5, age_months=30, bench="attended", attended=True)
        slow = person(rig)
        return slow, await rig.run(one_cut_output(tmp_path, POINT), ("as_left",))

    return run


async def test_rf_that_comes_on_while_a_request_is_open_is_ended_told_and_on_record(
    slow_run: Callable[..., Any],
) -> None:
    """A foot on the pedal: nothing was read while a question was open, for however long."""
    person, events = await slow_run(lambda rig: SlowPerson(rig, open_s=5.0))
    kinds = [type(e) for e in events if isinstance(e, UnaskedRf | Asked | PointDone)]
    assert kinds == [UnaskedRf, Asked, PointDone]
    assert [words for words in person.told if "nobody had asked for it" in words] != []


async def test_a_line_that_fails_while_a_request_is_open_ends_nothing(
    slow_run: Callable[..., Any],
) -> None:
    looks = 0

    def with_a_dead_line(rig: Any) -> SlowPerson:
        person = SlowPerson(rig, open_s=0.2)
        person.slips = 0

        async def sees_rf() -> bool:
            nonlocal looks
            looks += 1
            raise LinkTimeout("no answer")

        rig.bench.rf.sees_rf = sees_rf
        return person

    _, events = await slow_run(with_a_dead_line)
    done = [event.result.verdict for event in events if isinstance(event, PointDone)]
    assert (looks > 1, done) == (True, ["pass"])
