"""What papers say of keys that signed a run and are not trusted where the paper is made."""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.records.chain import StoredRun
from ohmwright.records.trust import TrustedKeys, other_names, signers


def notes_on_signatures(run: StoredRun, trusted: TrustedKeys) -> Iterator[str]:
    """Yield a note for each key that signed, and is not trusted here or under another name."""
    sealed = () if run.seal is None else (run.seal,)
    for what, signed in (
        ("sealed the record", signers(sealed)),
        ("approved, amended or voided it", signers(run.addenda)),
    ):
        for signer in signed:
            if signer.key not in trusted:
                yield (
                    f"Not known who {what}: key {signer.fingerprint}, said to be of "
                    f"{', '.join(signer.operators)}, was not trusted where this paper was made."
                )
            elif names := other_names(signer, trusted):
                yield (
                    f"Key {signer.fingerprint}, which {what} as {', '.join(names)}, was trusted as "
                    f"{trusted.owner(signer.key)}'s where this paper was made."
                )
