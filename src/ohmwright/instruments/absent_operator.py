"""The operator of an unattended run: nobody."""

from __future__ import annotations

import logging

from ohmwright.model.errors import OutOfCapability

from .operator import Operator
from .requests import Request

_log = logging.getLogger(__name__)


class AbsentOperator(Operator):
    """Refuses every request, since nobody is there.

    What needs doing at once is logged: by Python's default on standard error, for who passes by.
    """

    name = "unattended"
    present = False

    def __init__(self, for_whom: str = "") -> None:
        """`for_whom`: who has started the run, where that is known."""
        if for_whom:
            self.name = f"{for_whom} (unattended)"

    async def reply(self, request: Request, problem: str) -> str:  # noqa: ARG002
        """Raise OutOfCapability with the request that needs a person."""
        raise OutOfCapability(
            f"The run needs a person: {request.text}",
            "It was started unattended.",
            "Run it attended, or on a generator with a port.",
        )

    async def tell(self, words: str) -> None:
        """Log what needs doing at once."""
        _log.critical(words)
