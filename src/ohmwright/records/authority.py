"""Who may approve, amend and void a run: those whom its own record names.

The first addendum under a laboratory file that names somebody puts the whole list on record. From
then on only those on the record's list may add to the run, whatever another file says; one of them
who goes by a file with another list puts that one in its place, as when people change.
"""

from __future__ import annotations

from collections.abc import Sequence

from ohmwright.model.paper import Act, Authorised, Authority

from .addendum import Addendum, AddendumKind

_ACT_OF: dict[AddendumKind, Act] = {
    "approved": "approve",
    "amended": "amend",
    "voided": "void",
    "reinstated": "void",
}


def authority_on_record(addenda: Sequence[Addendum]) -> Authority | None:
    """By what the last restricted addendum was allowed; None where nothing is restricted yet."""
    kept = [one.statement.authority for one in addenda]
    return next((one for one in reversed(kept) if one is not None), None)


def entry_for(authorised: Sequence[Authorised], act: Act, name: str, key: str) -> Authorised | None:
    """The entry by which `name`, signing with the public key `key`, may do that; None for none."""
    fitting = (one for one in authorised if act in one.may and one.name == name)
    return next((one for one in fitting if one.key in (None, key)), None)


def names_for(authorised: Sequence[Authorised], act: Act) -> str:
    """The names of those who may do that, in words."""
    return ", ".join(dict.fromkeys(one.name for one in authorised if act in one.may)) or "nobody"


def unauthorised_addendum(addenda: Sequence[Addendum]) -> str:
    """What is wrong with the first addendum by somebody whom the record before it does not name.

    Empty where there is none. Records whose authority has no list say only that somebody was
    allowed.
    """
    for number, one in enumerate(addenda, start=1):
        said, kept = one.statement, authority_on_record(addenda[: number - 1])
        act = _ACT_OF.get(said.what)
        if kept is None or act is None or not kept.authorised:
            continue
        if entry_for(kept.authorised, act, said.operator, said.key) is None:
            return (
                f"its addendum {number} is by {said.operator}, and the record names who may {act}: "
                f"{names_for(kept.authorised, act)}"
            )
    return ""
