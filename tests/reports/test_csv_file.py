"""Results for a spreadsheet: figures as figures, text as text."""

import csv
from collections.abc import Callable
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.model.spreadsheet import as_it_was, without_formulas
from ohmwright.reports.certificate import Certificate
from ohmwright.reports.csv_file import certificate_csv, spreadsheet_safe
from ohmwright.reports.text import printable


def rows_of(certificate: Certificate) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(certificate_csv(certificate).decode("utf-8-sig"))))


def test_figures_keep_every_digit(certificate: Certificate) -> None:
    rows = rows_of(certificate)
    assert len(rows) == 21
    assert float(rows[0]["value"]) == 120.0
    assert (rows[0]["stage"], rows[1]["stage"]) == ("as_found", "as_left")
    assert rows[-1]["final_trim"] == "-33"  # a figure, however negative, has no apostrophe
    assert ",4,-33\r\n" in certificate_csv(certificate).decode("utf-8-sig")


def test_each_row_says_when_and_by_which_analyzer(certificate: Certificate) -> None:
    row = rows_of(certificate)[0]
    assert (row["begun"], row["ended"]) == ("2026-03-02T09:30:00Z", "2026-03-02T09:50:00Z")
    assert row["analyzer"] == "Hollin & Skerry, Gantry 400"


def test_hostile_names_are_only_text(named: Callable[[str], Certificate], hostile: str) -> None:
    text = certificate_csv(named(hostile)).decode("utf-8-sig")
    for separator in (",", ";", "\t", "|"):  # as read in another locale, too
        cells = [c for row in csv.reader(StringIO(text), delimiter=separator) for c in row]
        assert not [cell for cell in cells if cell.lstrip(' "')[:1] in tuple("=+-@\t\r")]
    assert rows_of(named(hostile))[0]["asset"].replace("'", "") == printable(hostile).replace(
        "'", ""
    )


@given(st.text())
def test_no_cell_begins_like_a_formula(text: str) -> None:
    assert spreadsheet_safe(text).lstrip()[:1] not in tuple("=+-@＝＋－＠")


@given(st.text(";='\" a"))
def test_what_was_made_text_is_known_as_it_was(text: str) -> None:
    assert as_it_was(without_formulas(text)) == text


@pytest.mark.parametrize("text", ["HF-017", "theatre 4, floor 1", "a = b"])
def test_ordinary_names_stay_as_they_are(text: str) -> None:
    assert spreadsheet_safe(text) == text
