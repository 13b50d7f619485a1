"""What addenda of a run, each rightly signed, may not say of it together."""

from datetime import UTC, datetime
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from ohmwright.model.paper import IssuedPaper, PaperData
from ohmwright.records.addendum import Addendum, AddendumKind, AddendumStatement, what_is_wrong
from ohmwright.records.paper_changes import paper_changes

HEAD = "ab" * 32
ONE, OTHER = Ed25519PrivateKey.generate(), Ed25519PrivateKey.generate()
ISSUED = {
    "issued": IssuedPaper(
        number="n", software="s", template_sha256="0", text_sha256="0", files_sha256={}
    )
}
OLD, NEW = PaperData(place="Ward 1"), PaperData(place="Ward 2")
Said = tuple[AddendumKind, dict[str, Any]]


def chain(*said: Said) -> list[Addendum]:
    """Addenda in a row, with what is `said` in place of what they would say."""
    made = list[Addendum]()
    for number, (what, more) in enumerate(said, start=1):
        key = more.get("by", ONE)
        as_usual: dict[str, Any] = {
            "run": "r",
            "head": HEAD,
            "number": number,
            "after": made[-1].digest if made else "",
        }
        statement = AddendumStatement(
            what=what,
            operator="Áda",
            signed_at=datetime(2026, 1, 1, tzinfo=UTC),
            key=key.public_key().public_bytes_raw().hex(),
            **{**as_usual, **{name: value for name, value in more.items() if name != "by"}},
        )
        signature = key.sign(statement.signed_bytes()).hex()
        made.append(Addendum(statement=statement, signature=signature))
    return made


def wrong(*said: Said) -> str:
    return what_is_wrong(chain(*said), "r", frozenset({HEAD}))


def test_addenda_in_their_order_hold() -> None:
    changes = paper_changes(OLD, NEW)
    assert changes != ()
    assert not wrong(
        ("approved", {"paper": OLD}),
        ("issued", ISSUED),
        ("voided", {}),
        ("reinstated", {}),
        ("amended", {"paper": NEW, "changes": changes}),
    )


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ([("voided", {"run": "q"})], "of another run or out of place"),
        ([("voided", {"number": 2})], "out of place"),
        ([("voided", {"after": HEAD})], "out of place"),
        ([("approved", {}), ("voided", {"after": ""})], "out of place"),
        ([("voided", {"head": "cd" * 32})], "speaks of a run with another end"),
        ([("approved", {}), ("issued", {})], "issues no paper"),
        ([("approved", {}), ("voided", ISSUED)], "beside another declaration"),
        ([("issued", ISSUED)], "issues what nobody had approved"),
        ([("approved", {}), ("issued", {**ISSUED, "by": OTHER})], "issues what nobody"),
        ([("approved", {}), ("voided", {}), ("issued", ISSUED)], "issues what nobody"),
        ([("voided", {}), ("voided", {})], "voids what is void"),
        ([("reinstated", {})], "reinstates what is not void"),
        ([("voided", {}), ("reinstated", {}), ("reinstated", {})], "what is not void"),
        ([("amended", {"paper": NEW, "changes": ()})], "other changes than were made"),
        (  # an addendum without a paper leaves it as it was
            [
                ("approved", {"paper": OLD}),
                ("voided", {}),
                ("amended", {"paper": NEW, "changes": paper_changes(None, NEW)}),
            ],
            "other changes than were made",
        ),
    ],
)
def test_a_rightly_signed_addendum_may_still_be_wrong(said: list[Said], why: str) -> None:
    assert why in wrong(*said)
