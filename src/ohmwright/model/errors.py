"""Every error a person can meet: what happened, what it means, what to do."""

from __future__ import annotations

from typing import ClassVar


class OhmwrightError(Exception):
    """A problem told in three parts: what happened, what it means, what to do.

    `exit_code` is the code that a command ends with.
    """

    exit_code: ClassVar[int] = 2
    is_reported = False
    """Whether it was shown to a person already."""

    def __init__(self, happened: str, means: str = "", do: str = "") -> None:
        self.happened, self.means, self.do = happened, means, do
        super().__init__(" ".join(part for part in (happened, means, do) if part))


class UsageError(OhmwrightError):
    """The call does not make sense as it stands."""


class SourceError(OhmwrightError):
    """A data file is missing, unreadable or says something that is not allowed."""


class ProcedureError(SourceError):
    """A procedure file is wrong; `happened` starts with file, line and column."""


class OutOfCapability(OhmwrightError):  # noqa: N818 - a plain word without Error
    """The bench cannot do what the procedure asks; nothing was switched on."""


class CertificateExpired(OhmwrightError):  # noqa: N818
    """The analyzer's own calibration is past its date; nothing was switched on."""


class LinkError(OhmwrightError):
    """The line to an instrument failed."""

    exit_code = 3


class LinkBusy(LinkError):  # noqa: N818
    """Somebody else holds the port."""


class LinkTimeout(LinkError):  # noqa: N818
    """No complete reply in time; `received` holds the bytes that did come."""

    def __init__(
        self, happened: str, means: str = "", do: str = "", *, received: bytes = b""
    ) -> None:
        super().__init__(happened, means, do)
        self.received = received


class LinkLost(LinkError):  # noqa: N818
    """The line is gone: unplugged, closed or reset."""


class GuardTripped(LinkError):  # noqa: N818
    """The guard sent OFF by itself, since the engine sent nothing for longer than it promised.

    `confirmed`: whether the guard read the output back as off.
    """

    def __init__(self, happened: str, means: str = "", do: str = "", *, confirmed: bool) -> None:
        super().__init__(happened, means, do)
        self.confirmed = confirmed


class WrongInstrument(LinkError):  # noqa: N818
    """An instrument answers that is not the one of the bench file or of the run's beginning."""


class ProtocolError(LinkError):
    """The reply makes no sense: garbled, not a number, or in another unit than asked."""


class SettingNotTaken(ProtocolError):  # noqa: N818
    """The instrument was told a setting and reads back another."""


class InstrumentRefused(LinkError):  # noqa: N818
    """The instrument put an error in its queue; `code` is its SCPI number."""

    def __init__(self, happened: str, means: str = "", do: str = "", *, code: int = 0) -> None:
        super().__init__(happened, means, do)
        self.code = code


class LoadNotConnected(InstrumentRefused):
    """The analyzer did not connect the load `load_ohm` that an activation needs; RF stayed off."""

    def __init__(self, load_ohm: float, problem: LinkError) -> None:
        self.load_ohm, self.said = load_ohm, problem.happened
        super().__init__(
            f"The analyzer did not connect {load_ohm:g} ohm: {problem.happened}",
            "RF stayed off, and nothing is measured at that load.",
            "Look at the analyzer, its messages and its load bank, then resume the run.",
        )


class InspectionFailed(OhmwrightError):  # noqa: N818
    """A person has answered an inspection with no, and the procedure does not go on then."""

    exit_code = 4


class ActivationCutShort(LinkError):  # noqa: N818
    """RF went off before the engine switched it off; the last readings are not used."""


class FootSwitchLetGo(ActivationCutShort):
    """A person let the foot switch go before they were told; the last readings are not used."""


class ExcessiveOutput(OhmwrightError):  # noqa: N818
    """Far more current flowed than was asked for; RF was switched off at that reading."""

    exit_code = 4


class UnaskedOutput(OhmwrightError):  # noqa: N818
    """RF was on though nobody had asked for it; after OFF it read off."""

    exit_code = 4


class ActivationVoid(LinkError):  # noqa: N818
    """Time passed unobserved while RF was on (a sleeping computer), or load or setting changed."""


class RfUnsafe(OhmwrightError):  # noqa: N818
    """RF may be on, or OFF is not to be relied on: somebody must see to it at the bench."""

    exit_code = 5


class ReleaseNotConfirmed(RfUnsafe):
    """RF may still be on: the output could not be read back as off."""


class OffNotProved(RfUnsafe):
    """RF reads off, and OFF is not to be relied on.

    It may have been the limit sent with ON that ended it, or OFF came late, with nobody there.
    """


class RecordError(OhmwrightError):
    """A record is damaged or cannot be written."""

    exit_code = 6


class Stopped(OhmwrightError):  # noqa: N818
    """A person or a signal ended it; a run can be resumed."""

    exit_code = 4


class ProgramFault(OhmwrightError):  # noqa: N818
    """The program itself failed in an unforeseen way; this says nothing about any unit."""

    exit_code = 70
