"""Lines above a request that go on telling the truth while it waits for its answer."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rich.text import Text

from .console import err

_REFRESH_S = 0.25
_SPARE_LINES = 6
"""Lines kept above a question, the end of its answer, and what is typed."""


@contextmanager
def lines_kept_above(
    question: Sequence[Text], lines: Callable[[], Sequence[Text]]
) -> Iterator[None]:
    """Print `lines`, and draw them anew while `question` below them is open; then delete them.

    They are left out where the terminal has no room for both, since what scrolls cannot be drawn
    over. `question` is printed by the block, which leaves the cursor after its last line.
    """
    console = err()
    below = sum(len(console.render_lines(line, pad=False)) for line in question) - 1
    count = len(lines()) if _stands_still(below) else 0
    for line in lines()[:count]:
        console.print(line, no_wrap=True)
    with _called_every_quarter_second(lambda: _overwrite_above(below, lines()[:count])):
        try:
            yield
        except BaseException:
            console.print()  # as Enter would have done
            raise
        finally:
            _delete_above(below + 1, count)


@contextmanager
def _called_every_quarter_second(what: Callable[[], None]) -> Iterator[None]:
    """Call `what` from the event loop every 0.25 s until the block ends."""
    loop = asyncio.get_running_loop()

    def once() -> None:
        what()
        timers[:] = [loop.call_later(_REFRESH_S, once)]

    timers = [loop.call_later(_REFRESH_S, once)]
    try:
        yield
    finally:
        timers[0].cancel()


def _stands_still(below: int) -> bool:
    """Return whether lines above a question of `below` + 1 lines stay on the screen."""
    return not err().legacy_windows and below + _SPARE_LINES < err().height


def _overwrite_above(below: int, lines: Sequence[Text]) -> None:
    """Replace the lines that end `below` + 1 above the cursor; the cursor stays where it is."""
    if not lines:
        return
    with err().capture() as drawn:
        for line in lines:
            err().print(line, no_wrap=True)
    text = "".join(f"\r\x1b[2K{line}\x1b[1B" for line in drawn.get().splitlines())
    err().file.write(f"\x1b7\x1b[{below + len(lines)}A{text}\x1b8")
    err().file.flush()


def _delete_above(below: int, count: int) -> None:
    """Delete the `count` lines that end `below` + 1 above the cursor; what is below moves up."""
    if count == 0:
        return
    up = f"\x1b[{below + count}A\r\x1b[{count}M"
    err().file.write(f"{up}\x1b[{below}B")
    err().file.flush()
