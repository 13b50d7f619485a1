"""Which fields of a unit a change in the register set, also where two histories were merged."""

from __future__ import annotations

from collections.abc import Sequence

from ohmwright.model.registered_asset import RegisteredAsset

from .asset_register import AssetRevision

FieldChanges = dict[str, tuple[object, object]]
"""By the name of a field what it was before and what it is after."""


def field_changes(before: RegisteredAsset, after: RegisteredAsset) -> FieldChanges:
    """The fields that differ, each with its text before and after."""
    old, new = before.model_dump(), after.model_dump()
    return {name: (old[name], new[name]) for name in new if old[name] != new[name]}


def changes_text(changes: FieldChanges) -> str:
    """What a change set, as in: site 'Ward 3' to 'Ward 5'."""
    return ", ".join(f"{name} {old!r} to {new!r}" for name, (old, new) in changes.items())


def changes_of_history(history: Sequence[AssetRevision]) -> list[FieldChanges]:
    """What each revision of a unit changed, the oldest first, which changed nothing.

    A revision that came from another computer was made of one that both had, and not of the one
    before it here. Before a merger a revision is therefore held against the latest one of which it
    differs in fewer fields than of the one before it.
    """
    merged = [at for at, one in enumerate(history) if one.what == "merged"]
    found: list[FieldChanges] = [{}]
    for at in range(1, len(history)):
        now, said = history[at].asset, field_changes(history[at - 1].asset, history[at].asset)
        if merged and at < merged[-1] and at not in merged:
            for earlier in reversed(history[: at - 1]):
                other = field_changes(earlier.asset, now)
                if other and other.keys() < said.keys():
                    said = other
                    break
        found.append(said)
    return found[: len(history)]
