"""What is new in a file of assets, and may be a slip, is told."""

from pathlib import Path

import pytest

from ohmwright.api.import_warnings import import_warnings
from ohmwright.api.paths import procedure_file
from ohmwright.model.errors import SourceError
from ohmwright.model.registered_asset import RegisteredAsset


def unit(
    tag: str, model: str = "Quillon 300", procedure: str = "", maker: str = "T"
) -> RegisteredAsset:
    return RegisteredAsset(tag=tag, maker=maker, model=model, serial=tag, procedure=procedure)


def warned(*came: RegisteredAsset, known: tuple[RegisteredAsset, ...] = (), file: str = "u") -> str:
    return "\n".join(import_warnings(Path(file), came, {one.tag: one for one in known}))


def test_a_model_that_is_new_is_told_with_the_one_it_may_be_meant_for() -> None:
    known = (unit("A"),)
    assert warned(unit("B"), known=known) == ""
    said = warned(unit("B", "Quilon 300"), unit("C", "Osier 90"), known=known)
    assert (
        "Model 'Quilon 300' (1 unit) was not in the register before. Is it 'Quillon 300'?" in said
    )
    assert said.endswith("Model 'Osier 90' (1 unit) was not in the register before.")


def test_in_a_first_file_only_likely_slips_are_told() -> None:
    assert warned(unit("A"), unit("B"), unit("C", "Osier 90")) == ""
    assert "Is it 'Quillon 300'?" in warned(unit("A"), unit("B"), unit("C", "Quillon 3000"))


def test_another_maker_than_that_of_the_other_units_is_told_once() -> None:
    said = "Model 'Quillon 300': maker 't' in 1 unit, 'T' in 2. Which is on the plate?"
    slip = unit("A", maker="t")
    assert warned(slip, unit("B"), unit("C"), unit("D", "Osier 90", maker="t")) == said
    known = (unit("A"), unit("B"), unit("C"))
    assert warned(slip, known=known) == said  # and not as one unit more
    assert warned(slip, known=(slip, *known[1:])) == ""


def test_a_procedure_that_is_not_found_is_told(tmp_path: Path) -> None:
    (tmp_path / "own.toml").touch()
    file = str(tmp_path / "u.csv")
    named = ("demo-monopolar", "own.toml", "", "gone.toml")
    units = [unit(str(at), procedure=name) for at, name in enumerate(named)]
    said = warned(*units, file=file)
    assert said.startswith("Procedure 'gone.toml' (1 unit) is no shipped one")
    assert said.count("Procedure") == 1
    assert "shipped one has" not in said
    meant = "The shipped one has the name 'demo-monopolar', without an ending."
    assert meant in warned(unit("Y", procedure="demo-monopolar.toml"), file=file)
    with pytest.raises(SourceError, match=r"demo-monopolar\.toml") as missing:
        procedure_file("demo-monopolar.toml", tmp_path / "bench.toml", "Y")
    assert missing.value.means == meant
    assert warned(*units, file=file, known=(unit("Z", procedure="gone.toml"),)) == ""
