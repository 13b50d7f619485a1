"""The list of trusted keys of a computer, and what others vouch for."""

from datetime import UTC, datetime
from pathlib import Path

from ohmwright.records.trust import TrustedKeys
from ohmwright.records.vouchers import KeyDecision, VoucherStatement

OWN, DISTRUSTED, THIRD, STRANGER = ("a" * 64, "b" * 64, "c" * 64, "d" * 64)


def vouched(what: KeyDecision, key: str, by: str) -> VoucherStatement:
    at = datetime(2026, 1, 5, 8, tzinfo=UTC)
    return VoucherStatement(store="s", what=what, key=key, name="Ida", by=by, at=at)


def test_nobody_vouches_for_a_key_that_the_list_distrusts(tmp_path: Path) -> None:
    TrustedKeys(tmp_path / "trusted").distrust(DISTRUSTED)
    trusted = TrustedKeys(tmp_path / "trusted", [OWN])
    trusted.count_vouchers(
        [
            vouched("trust", DISTRUSTED, OWN),
            vouched("trust", THIRD, OWN),
            vouched("trust", STRANGER, THIRD),  # vouched for itself, it vouches for nobody
        ]
    )
    assert {*trusted.names()} == {OWN, THIRD}
    assert trusted.owner(THIRD) == "Ida"


def test_what_was_just_distrusted_or_trusted_counts_for_the_vouchers_that_follow(
    tmp_path: Path,
) -> None:
    trusted = TrustedKeys(tmp_path / "trusted", [OWN])
    trusted.distrust(DISTRUSTED)
    trusted.count_vouchers([vouched("trust", DISTRUSTED, OWN)])
    assert {*trusted.names()} == {OWN}
    trusted.trust(DISTRUSTED)
    trusted.count_vouchers([vouched("distrust", DISTRUSTED, OWN)])
    assert {*trusted.names()} == {OWN, DISTRUSTED}  # the list's own word stands


def test_a_name_stays_with_its_key_where_that_is_trusted_once_more(tmp_path: Path) -> None:
    trusted = TrustedKeys(tmp_path / "trusted", [OWN])
    trusted.trust(THIRD, "Ida")
    trusted.trust(THIRD)
    trusted.count_vouchers([vouched("trust", STRANGER, OWN)])
    trusted.trust(STRANGER)
    assert trusted.names() == TrustedKeys(tmp_path / "trusted", [OWN]).names()
    assert (trusted.owner(THIRD), trusted.owner(STRANGER)) == ("Ida", "")
