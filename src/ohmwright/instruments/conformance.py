"""The conformance kit: checks that every analyzer back end must pass, for tests and for people.

The kit never switches RF on by itself: it is handed the one way to do so.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TypeVar

from ohmwright.model.errors import LinkError

from .conformance_kit import ConformanceCheck, Observed, wrong
from .conformance_off import (
    identifies_itself,
    is_off_when_opened,
    joins_every_circuit,
    off_is_idempotent,
    reads_no_current_while_off,
    refuses_a_load_it_has_not,
    sets_every_load,
)
from .conformance_on import (
    a_load_change_changes_the_current,
    activates_reads_and_releases,
    captures_what_it_reads,
    ends_an_activation_by_itself,
    guard_opens_the_output,
    off_opens_the_output,
)

WITHOUT_RF: tuple[ConformanceCheck, ...] = (
    identifies_itself,
    is_off_when_opened,
    reads_no_current_while_off,
    sets_every_load,
    refuses_a_load_it_has_not,
    joins_every_circuit,
    off_is_idempotent,
)
"""The checks that switch nothing on."""
WITH_RF: tuple[ConformanceCheck, ...] = (
    activates_reads_and_releases,
    a_load_change_changes_the_current,
    off_opens_the_output,
    ends_an_activation_by_itself,
    guard_opens_the_output,
    captures_what_it_reads,
)
CHECKS = WITHOUT_RF + WITH_RF


T = TypeVar("T")


def title(check: Callable[..., object]) -> str:
    """The name of a check in words."""
    return check.__name__.replace("_", " ")


async def observe(check: Callable[[T], Awaitable[Observed]], under_check: T) -> Observed:
    """What `check` saw of what is under check; a line that fails meanwhile is wrong, too."""
    try:
        return await check(under_check)
    except LinkError as error:
        return wrong(str(error))
