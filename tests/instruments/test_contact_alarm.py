"""A contact quality alarm is whatever does not read as a plain 0."""

import pytest

from ohmwright.instruments.remote_generator import RemoteGenerator

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


class Saying:
    """What is asked of it is answered so; `named` counts how often it was asked its name."""

    def __init__(self, answer: float) -> None:
        self._answer, self.named = answer, 0

    async def number(self, _: str) -> float:
        return self._answer

    async def identify(self) -> str:
        self.named += 1
        return "a unit"


@pytest.mark.parametrize(
    ("answer", "alarm"), [(0.0, False), (1.0, True), (2.0, True), (-1.0, True), (0.5, True)]
)
async def test_anything_but_a_plain_0_is_an_alarm(answer: float, alarm: bool) -> None:
    generator = RemoteGenerator.__new__(RemoteGenerator)
    said = Saying(answer)
    generator._verified = said  # type: ignore[assignment]
    assert await generator.contact_alarm() is alarm
    assert said.named == 1
