"""What papers state beside the record: laboratory, customer, place, receipt of the unit."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import Field

from .base import FrozenModel

Country = Annotated[str, Field(pattern="^[A-Z]{2}$")]
"""ISO 3166-1 alpha-2 code."""
NonEmpty = Annotated[str, Field(min_length=1)]


class Party(FrozenModel):
    """A laboratory or a customer, by name and the lines of its postal address."""

    name: NonEmpty
    address: tuple[str, ...] = ()


class SignatureFiles(FrozenModel):
    """Files (PEM) that sign digital certificates, relative to the laboratory file."""

    key: NonEmpty
    """Private key, RSA or of an elliptic curve of NIST."""
    certificate: NonEmpty
    """X.509 certificate of that key, with those that vouch for it after it."""


class LaboratoryFile(Party):
    """A laboratory file: whose papers these are, and what they say by default."""

    country: Country | None = None
    accreditation: str = ""
    """Words on the accreditation, as the accreditation body wants them; empty for none."""
    logo: str = ""
    """A picture (.svg, .png or .jpg), relative to this file."""
    place: str = ""
    """Where the work is done, unless told otherwise."""
    customer: tuple[Party, ...] = ()
    """Customers by name; the first one is meant unless another is named."""
    approvers: tuple[NonEmpty, ...] = ()
    """Who may approve; empty for everybody."""
    statements: tuple[NonEmpty, ...] = ()
    """Sentences of the laboratory's own, such as about the certificate's validity."""
    signature: SignatureFiles | None = None


class Corrections(FrozenModel):
    """What was put wrongly about the unit under test when the work was done; empty where right.

    The unit's own id is not among them: a run on another unit is void.
    """

    maker: str = ""
    model: str = ""
    serial: str = ""
    department: str = ""

    def given(self) -> dict[str, str]:
        """The corrected texts, by the name of what they correct."""
        return {name: text for name, text in self if text}


class PaperData(FrozenModel):
    """What the papers of a run state beside its record; kept in the record with an approval."""

    laboratory: Party | None = None
    country: Country | None = None
    accreditation: str = ""
    customer: Party | None = None
    place: str = ""
    received_on: date | None = None
    condition: str = ""
    """In which condition the unit was received."""
    statements: tuple[str, ...] = ()
    corrections: Corrections = Corrections()
