"""How often a person is asked about one doubt of one point, before it is left."""

from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.engine.doubt import Doubt, DoubtResolver
from ohmwright.instruments.doubt_requests import AGAIN, CORRECTED, LookAtPanel

AT_MOST: dict[Doubt, int] = {
    "no output": 5,
    "interrupted": 5,
    "no leakage": 5,
    "no value": 5,
    "far off": 5,
    "too much": 5,
    "no effect": 2,
}


@pytest.mark.anyio
@pytest.mark.parametrize("doubt", AT_MOST)
async def test_a_person_who_never_finds_the_cause_is_not_asked_for_ever(doubt: Doubt) -> None:
    asked = list[object]()

    async def carry_out(request: object) -> str:
        asked.append(request)
        return CORRECTED if isinstance(request, LookAtPanel) else AGAIN

    async def choose() -> None:
        """There is no port to choose by."""

    session: Any = SimpleNamespace(
        bench=SimpleNamespace(
            operator=SimpleNamespace(name="Ada Fell", present=True, carry_out=carry_out),
            generator=SimpleNamespace(unattended=False),
            analyzer=SimpleNamespace(read_by_eye=True),
        )
    )
    resolver = DoubtResolver(session, "cut, 150 W", choose)
    while (verdict := await resolver.resolve(doubt, "3 mA")) is None:
        assert len(asked) <= AT_MOST[doubt]
    assert (verdict[0], len(asked)) == ("not measured", AT_MOST[doubt])
