"""What papers say a value is, and until when its activation was read."""

import csv

import pytest

from ohmwright.engine.rests_on_record import Rest
from ohmwright.model.result import Result, Sample
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.details import detail_blocks
from ohmwright.reports.html import certificate_html
from ohmwright.reports.measurand_text import (
    extrapolated_lines,
    last_reading,
    measurand_text,
    read_until_text,
    rest_text,
)
from ohmwright.reports.pdf import certificate_pdf

from . import conftest
from .test_pdf import squeezed, text_of


def read_until(*ages_s: float) -> Result:
    """A result whose activation was read at these ages; its value holds at 6 s."""
    one = conftest.result("as_left", "cut", "500 ohm")
    assert one.measured is not None
    at_6_s = one.measured.model_copy(update={"age_s": 6.0})
    taken = tuple(Sample(age_s, 440.0) for age_s in ages_s)
    return one.model_copy(update={"measured": at_6_s, "samples": taken})


def test_a_value_is_no_reading_at_that_age() -> None:
    said = measurand_text([read_until(1.0, 5.5)])
    assert "as it would be at 6 s after RF came on" in said
    assert "not the reading shown at that age" in said


def test_what_was_not_read_until_then_is_told_as_extrapolated() -> None:
    assert read_until_text([read_until(1.0, 5.5)]) == "read until 5.5 s, extrapolated to 6 s"
    assert read_until_text([read_until(1.0, 6.0)]) == "read until 6.0 s"
    assert read_until_text([read_until(1.0, 5.999999999999992)]) == "read until 6.0 s"
    assert [*extrapolated_lines([read_until(6.5)])] == []
    assert [*extrapolated_lines([read_until(5.5)])] == [
        "as left, cut: read until 5.5 s, extrapolated to 6 s; last reading 500 ohm 96.8 W"
    ]


def test_a_step_of_many_points_takes_one_line_of_what_was_extrapolated() -> None:
    points = [
        read_until(5.0 + 0.1 * n).model_copy(update={"point": f"{100 + n} ohm"}) for n in range(8)
    ]
    (line,) = extrapolated_lines(points)
    assert line.startswith("as left, cut: read until 5.0 to 5.7 s, extrapolated to 6 s; last ")
    assert line.endswith(", 107 ohm 96.8 W")


def test_of_what_was_not_read_during_an_activation_nothing_is_said() -> None:
    assert measurand_text([read_until()]) == read_until_text([read_until()]) == ""


def test_the_paper_says_both() -> None:
    made = certificate_text(certificate_of(conftest.a_run([read_until(5.5)])))
    assert any("as it would be at 6 s" in note for note in made.notes)
    (group,) = made.groups
    assert group.at.endswith("read until 5.5 s, extrapolated to 6 s")


def test_no_lag_is_taken_off_a_shape() -> None:
    output = read_until(5.5)
    assert output.measured is not None
    shape = output.measured.model_copy(update={"quantity": "crest_factor", "age_s": 4.0})
    of_shape = output.model_copy(update={"measured": shape, "point": "shape"})
    for found, said in (
        ([of_shape], "4 s of an activation"),
        ([output, of_shape], "6 s of an activation, lag taken off"),
    ):
        made = detail_blocks(certificate_of(conftest.a_run(found)))
        (procedure,) = (dict(facts) for name, facts in made if name == "Procedure")
        assert procedure["Values hold at"] == said


def test_of_a_step_it_is_told_from_when_to_when_its_points_were_read() -> None:
    several = [read_until(4.4), read_until(5.8)]
    assert read_until_text(several) == "read until 4.4 to 5.8 s, extrapolated to 6 s"
    several.append(read_until(6.5))
    assert read_until_text(several) == "read until 4.4 to 6.5 s, in part extrapolated to 6 s"


@pytest.mark.parametrize(
    ("last_ma", "shown"),
    [
        (447.0, "99.9"),  # 101 W ± 1.2 W: more than half of that below
        (448.7, ""),  # 100.7 W
        (451.0, "101.7"),
        (0.0, "0.0"),
    ],
)
def test_a_last_reading_far_from_the_value_stands_beside_it(last_ma: float, shown: str) -> None:
    one = read_until(3.0).model_copy(update={"samples": (Sample(3.0, last_ma),)})
    other = conftest.result("as_left", "cut", "100 ohm")
    certificate = certificate_of(conftest.a_run([one, other]))
    sheet = certificate_text(certificate)
    (row, bare) = sheet.groups[0].rows
    assert (row.left.read, bare.left.read, sheet.far_readings) == (shown, "", bool(shown))
    html, pdf = certificate_html(sheet), text_of(certificate_pdf(sheet, conftest.BEGUN))
    assert ("last read" in html) == bool(shown)
    assert ("Lastreading" in squeezed(pdf)) == bool(shown)
    assert squeezed(f"101.0±1.2{shown}+1.0") in squeezed(pdf)
    assert (f"Last reading {shown} W" in certificate_dcc(certificate).decode()) == bool(shown)
    cells = csv.DictReader(certificate_csv(certificate).decode("utf-8-sig").splitlines())
    last_w = round((last_ma / 1000) ** 2 * 500, 9)
    assert [cell["last_reading"] for cell in cells] == [str(last_w), ""]


def test_a_last_reading_of_a_current_is_in_its_own_unit() -> None:
    one = read_until(3.0)
    assert one.measured is not None
    current = one.measured.model_copy(update={"quantity": "current_ma"})
    assert last_reading(one.model_copy(update={"measured": current})) == 440.0
    ratio = one.measured.model_copy(update={"quantity": "crest_factor"})
    assert last_reading(one.model_copy(update={"measured": ratio})) is None


def test_nothing_is_said_of_outputs_where_only_a_time_or_a_ratio_was_found() -> None:
    one = read_until(3.0)
    assert one.measured is not None
    assert measurand_text([one])
    time = one.measured.model_copy(update={"quantity": "rise_time_s"})
    assert measurand_text([one.model_copy(update={"measured": time})]) == ""


@pytest.mark.parametrize(
    ("rests", "said"),
    [
        ([], ""),
        ([None], ""),
        (
            [None, Rest(14.58, 30.0)],
            "rested 14.6 s (procedure: 30 s) where RF had been on before",
        ),
        ([Rest(14.58, 30.0), Rest(0.0, 30.0)], "rested 0.0 to 14.6 s (procedure: 30 s)"),
        ([Rest(1.0, None)], "rested 1.0 s"),
        ([Rest(0.0, 0.0)], "rested 0.0 s (procedure: 0 s)"),
    ],
)
def test_rests_are_said_beside_what_the_procedure_asks(rests: list[Rest | None], said: str) -> None:
    assert rest_text(rests) == said
