"""Whether an order was given on what goes on now, or waited in the line until it was old.

A press on a page whose server is held up, or whose computer or network sleeps, is not lost: it
waits, and would be obeyed minutes later, when RF comes on at a bench that nobody looks at any more.
So each word of the server has the time at which it was sent, and a page sends with an order the
time of the last one that it heard. A STOP is obeyed however old it is.
"""

from __future__ import annotations

from ohmwright.model.errors import UsageError

HEARD_HEADER = "x-heard-s"
FRESH_S = 5.0
"""The server says something every second, and a page gives no order after 3 s of silence."""


def require_fresh(heard: str | None, now_s: float) -> None:
    """Raise UsageError for an order from a screen whose last word of the server is old by now.

    `heard`: the time of that word, as the server told it; None where a program, which follows no
    news, gives the order.
    """
    if heard is None:
        return
    try:
        old_s = now_s - float(heard)
    except ValueError:
        old_s = float("inf")
    if not old_s <= FRESH_S:
        raise UsageError(
            "That was pressed on a screen that had not heard of the bench for a while.",
            "Nothing was done by it.",
            "Read what the screen shows now, and press again.",
        )
