"""The list of procedures that a page offers."""

from pathlib import Path

from ohmwright.model.shipped import shipped
from ohmwright.page.offered import OfferedProcedures, procedures_in


def test_files_of_one_title_are_told_apart_by_their_names(tmp_path: Path) -> None:
    text = shipped("procedures", "practice-marlow.toml").read_text(encoding="utf-8")
    paths = [tmp_path / "first.toml", tmp_path / "second.toml"]
    for path in paths:
        path.write_text(text, encoding="utf-8")
    other = shipped("procedures", "teasel-200-yearly.toml")
    offers = OfferedProcedures([*paths, other]).offers(to_practise=False)
    assert [offer.title.rpartition(", ")[2] for offer in offers[:2]] == [
        "first.toml",
        "second.toml",
    ]
    assert not offers[2].title.endswith(".toml")


def test_a_procedure_of_practice_is_offered_there_alone() -> None:
    work, practice = (
        shipped("procedures", f"{name}.toml") for name in ("attended-marlow", "practice-marlow")
    )
    offered = OfferedProcedures([work, practice], [practice])
    assert [offer.file for offer in offered.offers(to_practise=False)] == [work.name]
    numbers = {offer.file: offer.number for offer in offered.offers(to_practise=True)}
    assert numbers.keys() == {work.name, practice.name}
    assert offered.read(numbers[practice.name]).path == practice


def test_a_file_whose_name_is_no_text_does_not_take_the_list_with_it(tmp_path: Path) -> None:
    text = shipped("procedures", "practice-marlow.toml").read_text(encoding="utf-8")
    for name in ("first.toml", "other\udcff.toml"):
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert [path.name for path in procedures_in([tmp_path])] == ["first.toml"]
