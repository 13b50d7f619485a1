"""What papers state beside the record: laboratory, customer, place, receipt of the unit."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

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


Act = Literal["approve", "amend", "void"]
"""What is done about a run on record; to void is also to take that back."""
ACTS: tuple[Act, ...] = ("approve", "amend", "void")


class Authorised(FrozenModel):
    """A person whom the laboratory has authorised to approve, amend or void."""

    name: NonEmpty
    may: Annotated[tuple[Act, ...], Field(min_length=1)] = ACTS
    key: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = None
    """The public key with which they sign, in hexadecimal; None where their name is enough."""


class Authority(FrozenModel):
    """By what somebody was allowed to approve, amend or void."""

    laboratory: NonEmpty
    """The laboratory whose file names them."""
    by: Literal["name", "name and key"]
    authorised: tuple[Authorised, ...] = ()
    """Everybody whom that file names; empty in records that do not say."""


class Logo(FrozenModel):
    """A picture that stands on papers."""

    form: Literal["svg", "png", "jpg"]
    base64: str


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
    """Customers by name; where there is only one it is meant unless another is named."""
    authorised: tuple[Authorised, ...] = ()
    """Who may approve, amend and void; without any of them everybody."""
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
    logo: Logo | None = None


class PaperChange(FrozenModel):
    """A field of `PaperData` that an amendment changes, as text."""

    field: NonEmpty
    old: str
    new: str


class IssuedPaper(FrozenModel):
    """The paper that was issued with an approval; kept in the record right after it."""

    number: NonEmpty
    software: str
    template_sha256: str
    """Of the layout of its PDF."""
    own_pages_sha256: str = ""
    """Of the file that set the laboratory's own pages in front of it; empty for none."""
    text_sha256: str
    """Of everything that it says."""
    files_sha256: dict[str, str]
    """Of its files: `pdf` and `html`."""
    trust_note: str = ""
    """What it says of keys that nobody there trusted."""
