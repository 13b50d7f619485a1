"""What a person should look at in a file of assets that is not wrong in itself."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path

from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.shipped import shipped
from ohmwright.model.source import is_existing_file
from ohmwright.reports.text import counted

from .paths import shipped_procedure_hint

_ALIKE = 0.8
"""Likeness of two names, of 1, from which on one may be the other with a slip."""


def import_warnings(
    file: Path, came: Iterable[RegisteredAsset], known: Mapping[str, RegisteredAsset]
) -> list[str]:
    """Return what is new of the units that came: models, makers of a model, missing procedures.

    `file`: where they stand, beside which their procedures may lie (a name alone: in the working
    folder); `known`: the register before, by tag.
    """
    units = list(came)
    return [
        *_new_models(units, known),
        *_new_makers(units, known),
        *_missing_procedures(file, units, known),
    ]


def _new_models(
    units: Iterable[RegisteredAsset], known: Mapping[str, RegisteredAsset]
) -> Iterator[str]:
    before = {asset.model for asset in known.values()}
    counts = Counter(unit.model for unit in units if unit.model not in before)
    for model, count in counts.items():
        like = get_close_matches(model, _oftener(model, counts, before), n=1, cutoff=_ALIKE)
        if before or like:
            said = f" Is it '{like[0]}'?" if like else ""
            of = f"Model '{model}' ({counted(count, 'unit')})"
            yield f"{of} was not in the register before.{said}"


def _oftener(model: str, counts: Counter[str], before: Collection[str]) -> list[str]:
    """The models that are known better than this one: in the register, or of more units."""
    return [*before, *(other for other, n in counts.items() if n > counts[model])]


def _new_makers(
    units: Iterable[RegisteredAsset], known: Mapping[str, RegisteredAsset]
) -> Iterator[str]:
    """Yield each maker that is new for a model of which more units have another."""
    before = {(asset.model, asset.maker) for asset in known.values()}
    makers = defaultdict[str, Counter[str]](Counter)
    for unit in {**known, **{unit.tag: unit for unit in units}}.values():
        makers[unit.model][unit.maker] += 1
    for model, maker in dict.fromkeys((unit.model, unit.maker) for unit in units):
        (usual, of_usual), *_ = makers[model].most_common(1)
        if maker != usual and (model, maker) not in before:
            of = f"maker '{maker}' in {counted(makers[model][maker], 'unit')}"
            yield f"Model '{model}': {of}, '{usual}' in {of_usual}. Which is on the plate?"


def _missing_procedures(
    file: Path, units: Iterable[RegisteredAsset], known: Mapping[str, RegisteredAsset]
) -> Iterator[str]:
    before = {asset.procedure for asset in known.values()}
    counts = Counter(unit.procedure for unit in units)
    here = "this folder" if file.parent == Path() else file.parent
    for name, count in counts.items():
        if name and name not in before and not _is_procedure(name, file.parent):
            yield (
                f"Procedure '{name}' ({counted(count, 'unit')}) is no shipped one and no file in "
                f"{here}: it is looked for beside the bench file. "
                f"{shipped_procedure_hint(name)}".rstrip()
            )


def _is_procedure(name: str, folder: Path) -> bool:
    places = (folder / name, shipped("procedures", f"{name}.toml"))
    return any(map(is_existing_file, places))
