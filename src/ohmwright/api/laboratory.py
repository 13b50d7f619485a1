"""The laboratory file that papers go by, and what it and a caller say beside the record."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Literal

from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.paper import (
    Act,
    Authorised,
    Authority,
    Corrections,
    LaboratoryFile,
    Logo,
    PaperData,
    Party,
)
from ohmwright.model.source import is_existing_file, load
from ohmwright.records.authority import entry_for, names_for
from ohmwright.records.open_database import is_url, sqlite_file

from .paths import RecordsAt, laboratory_file_of_user, records_location

FILE_NAME = "laboratory.toml"
NO_CORRECTIONS = Corrections()
_PICTURES: dict[str, Literal["svg", "png", "jpg"]] = {
    ".svg": "svg",
    ".png": "png",
    ".jpg": "jpg",
    ".jpeg": "jpg",
}
_MOST_LOGO_BYTES = 200_000
"""It is kept in the record of each run whose papers bear it."""


DO_AS_AUTHORISED = (
    "Have one of them do it, or say with --by who you are; a key is seen with: ohmwright record "
    "keys list"
)


def authority_by(laboratory: str, entry: Authorised, listed: tuple[Authorised, ...]) -> Authority:
    """What goes on record of somebody who is allowed by `entry`, one of those `listed`."""
    by: Literal["name", "name and key"] = "name" if entry.key is None else "name and key"
    return Authority(laboratory=laboratory, by=by, authorised=listed)


@dataclass(frozen=True)
class PaperWords:
    """What a caller says about the papers of one run; None is what the laboratory file says."""

    laboratory: Path | None = None
    """The laboratory file; None for the one beside the records, else the user's own."""
    customer: str | None = None
    place: str | None = None
    received_on: date | None = None
    condition: str | None = None
    corrections: Corrections = NO_CORRECTIONS
    """Of the unit under test; those that are empty are left as they are."""

    @property
    def said(self) -> bool:
        """Whether anything but the laboratory file is given."""
        given = (self.customer, self.place, self.received_on, self.condition)
        return any(one is not None for one in given) or bool(self.corrections.given())


@dataclass(frozen=True)
class Laboratory:
    """A laboratory file and where it lies; files that it names lie beside it."""

    path: Path
    data: LaboratoryFile

    def logo(self) -> Logo | None:
        """The logo. Raises SourceError where it cannot be read or is no picture by its name."""
        if not self.data.logo:
            return None
        path = self.path.parent / self.data.logo
        form = _PICTURES.get(path.suffix.lower())
        try:
            content = path.read_bytes()
        except OSError as problem:
            raise self._bad("logo", f"{path} cannot be read: {problem.strerror}") from None
        if form is None or len(content) > _MOST_LOGO_BYTES:
            raise self._bad("logo", f"{path} is no .svg, .png or .jpg of at most 200 kB")
        return Logo(form=form, base64=b64encode(content).decode())

    def signature_files(self) -> tuple[bytes, bytes] | None:
        """Key and certificate (PEM) that sign digital certificates; None where none are named."""
        named = self.data.signature
        if named is None:
            return None
        try:
            key, certificate = (
                (self.path.parent / name).read_bytes() for name in (named.key, named.certificate)
            )
        except OSError as problem:
            what = f"{problem.filename} cannot be read: {problem.strerror}"
            raise self._bad("signature", what) from None
        return key, certificate

    def authority(self, act: Act, name: str, key: str) -> Authority | None:
        """By what `name`, who signs with the public key `key`, may do that; None for anybody.

        Raises UsageError where the laboratory authorised others, or that name with another key.
        """
        listed = self.data.authorised
        if not listed:
            return None
        allowed = entry_for(listed, act, name, key)
        if allowed is None:
            named = any(one.name == name and act in one.may for one in listed)
            who = "signs with another key" if named else f"may not {act}"
            raise UsageError(
                f"{name} {who} for {self.data.name}. Nothing was added.",
                f"{self.path} authorises for that: {names_for(listed, act)}.",
                DO_AS_AUTHORISED,
            )
        return authority_by(self.data.name, allowed, listed)

    def _bad(self, key: str, what: str) -> SourceError:
        return SourceError(f"{self.path}: {key}: {what}.", do="Correct the file.")


def find_laboratory(given: Path | None, records: RecordsAt | None) -> Laboratory | None:
    """The laboratory file `given`, else that beside the records, else the user's; None for none.

    Raises SourceError for a file that is missing though named, or is no laboratory file.
    """
    if given is not None:
        return Laboratory(given, load(given, LaboratoryFile))
    place = records_location(records)
    beside = [] if is_url(place) else [sqlite_file(place).parent / FILE_NAME]
    for path in (*beside, laboratory_file_of_user()):
        if is_existing_file(path):
            return Laboratory(path, load(path, LaboratoryFile))
    return None


def paper_data(
    laboratory: Laboratory | None, words: PaperWords, before: PaperData | None = None
) -> PaperData:
    """What papers state beside the record: what was told, else `before`, else the file's words.

    A laboratory file that is named says anew whose papers they are, not for whom and of what.
    """
    by_file = _by_default(laboratory)
    start = by_file if before is None else before
    if before is not None and words.laboratory is not None:
        of_laboratory = ("laboratory", "country", "accreditation", "statements", "logo")
        start = start.model_copy(update={key: getattr(by_file, key) for key in of_laboratory})
    told: dict[str, object] = {
        "customer": None if words.customer is None else _customer(laboratory, words.customer),
        "place": words.place,
        "received_on": words.received_on,
        "condition": words.condition,
    }
    corrections = start.corrections.model_copy(update=words.corrections.given())
    said = {key: value for key, value in told.items() if value is not None}
    return start.model_copy(update=said | {"corrections": corrections})


def unnamed_customer(laboratory: Laboratory | None, paper: PaperData) -> str:
    """That a laboratory file has several customers and nobody said which; empty where one is."""
    if laboratory is None or paper.customer is not None or len(laboratory.data.customer) < 2:
        return ""
    names = ", ".join(one.name for one in laboratory.data.customer)
    return f"{laboratory.path} has several customers, and none was named: {names}."


def _by_default(laboratory: Laboratory | None) -> PaperData:
    if laboratory is None:
        return PaperData()
    data = laboratory.data
    return PaperData(
        laboratory=Party(name=data.name, address=data.address),
        country=data.country,
        accreditation=data.accreditation,
        customer=data.customer[0] if len(data.customer) == 1 else None,
        place=data.place,
        statements=data.statements,
        logo=laboratory.logo(),
    )


def _customer(laboratory: Laboratory | None, name: str) -> Party:
    """The customer of that name in the laboratory file; one without an address where it has none.

    Raises UsageError for an empty name.
    """
    if not name.strip():
        raise UsageError("--customer is empty.", do="Give the customer's name.")
    known = () if laboratory is None else laboratory.data.customer
    return next((one for one in known if one.name == name), Party(name=name))
