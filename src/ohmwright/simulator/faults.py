"""Faults of a line to a simulated instrument, and the text that names one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, cast, get_args

from ohmwright.model.errors import UsageError

from .distortions import DISTORTIONS

Line = Literal["analyzer", "generator"]
Way = Literal["message", "reply"]
When = Literal["once", "ever"]
MASQUERADE = "masquerade"
KINDS = (*DISTORTIONS, MASQUERADE)
SYNTAX = "[analyzer:|generator:]KIND:message|reply:once|ever:N"
_WORDS = "(?:({})?:)?({}):({}):({}):0*([1-9][0-9]*)".format(
    *("|".join(words) for words in (get_args(Line), KINDS, get_args(Way), get_args(When)))
)


@dataclass(frozen=True)
class LineFault:
    """What happens to the `at`th message to an instrument or its reply, once or from then on."""

    kind: str
    way: Way
    when: When
    at: int
    line: Line = "analyzer"

    @property
    def what(self) -> str:
        """The fault as text, without its line."""
        return f"{self.kind}:{self.way}:{self.when}:{self.at}"

    def __str__(self) -> str:
        return f"{self.line}:{self.what}"

    @classmethod
    def parse(cls, text: str) -> LineFault:
        """The fault that `text` names in `SYNTAX`; without a line, the analyzer's.

        Raises UsageError.
        """
        found = re.fullmatch(_WORDS, text)
        if found is None:
            raise UsageError(
                f"'{text}' is no fault.",
                f"It is {SYNTAX}, where N counts messages from 1.",
                f"KIND is one of {', '.join(KINDS)}.",
            )
        line, kind, way, when, at = found.groups()
        return cls(kind, cast(Way, way), cast(When, when), int(at), cast(Line, line or "analyzer"))
