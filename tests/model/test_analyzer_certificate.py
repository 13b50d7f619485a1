"""The analyzer's certificate as a file."""

from datetime import date

import pytest

from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.errors import SourceError
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load, parse

NAMES = ("gantry-400", "plover-200")


def certificate(name: str) -> AnalyzerCertificate:
    return load(shipped("analyzers", name, "certificate.toml"), AnalyzerCertificate)


@pytest.mark.parametrize("name", NAMES)
def test_the_shipped_ones_cover_their_meters(name: str) -> None:
    data = load(shipped("analyzers", f"{name}.toml"), AnalyzerData, table="data")
    shipped_one = certificate(name)
    assert shipped_one.current[-1].up_to_ma >= data.meter.max_current_ma
    assert shipped_one.current[-1].resolution_ma == data.meter.resolution_ma


def test_the_first_range_that_holds_a_reading_counts() -> None:
    gantry = certificate("gantry-400")
    assert gantry.range_of(250).up_to_ma == 250
    assert gantry.range_of(250.1).up_to_ma == 2800
    assert gantry.range_of(9000).up_to_ma == 2800


def test_it_is_in_date_to_the_last_day() -> None:
    gantry = certificate("gantry-400")
    assert not gantry.traceability(gantry.due_on).expired
    assert gantry.traceability(date(2026, 8, 19)).expired


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("due_on = 2026-08-18", "due_on = 2025-08-01", "due_on lies before calibrated_on"),
        ("up_to_ma = 250\n", "up_to_ma = 2900\n", "the ranges must be in order"),
        ("[load]", "[lode]", "nearest valid key is 'load'"),
    ],
)
def test_what_is_wrong_has_its_place(old: str, new: str, says: str) -> None:
    path = shipped("analyzers", "gantry-400", "certificate.toml")
    text = path.read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(SourceError, match=says):
        parse(path, text.replace(old, new, 1), AnalyzerCertificate)
