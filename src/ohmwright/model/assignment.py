"""What a run is done for, and what is given to it beside its bench and its procedure."""

from __future__ import annotations

from dataclasses import dataclass

from .attachment import Attachment
from .given_values import NOTHING_GIVEN, GivenValues
from .registered_asset import RegisteredAsset

PROGRAM = "ohmwright"
"""Who said it, of what this program remarks by itself."""
LONGEST_WORK_ORDER = 200
"""Characters that a work order takes at most: it stands in a line of papers and tables."""


@dataclass(frozen=True)
class Assignment:
    """The work order of a run."""

    registered: RegisteredAsset | None = None
    """The unit as the register of assets has it; None for one that the bench file names."""
    work_order: str = ""
    account: str = ""
    """The account of the computer; the operator's name may be another."""
    comments: tuple[str, ...] = ()
    """What the operator says about the run."""
    remarks: tuple[str, ...] = ()
    """What this program says about it by itself."""
    attachments: tuple[Attachment, ...] = ()
    given: GivenValues = NOTHING_GIVEN


NO_ASSIGNMENT = Assignment()
"""What is said where nothing is."""
