"""Which points make a curve, and what the drawing holds."""

from xml.etree import ElementTree

from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.curves import curve_svg, plotted_curves

from .conftest import LOADS_OHM, a_run, result


def test_a_step_of_several_loads_is_a_curve(certificate: Certificate) -> None:
    first, second = plotted_curves(certificate)
    assert (first.title, second.title, first.unit) == ("cut-1", "cut-2", "W")
    assert [line.last.load_ohm for line in first.lines] == list(LOADS_OHM)


def test_full_and_half_settings_are_two_curves() -> None:
    found = [
        result("as_left", "blend", f"{name} {load:g} ohm", load_ohm=load)
        for name in ("full", "half")
        for load in reversed(LOADS_OHM)
    ]
    titles = [curve.title for curve in plotted_curves(certificate_of(a_run(found)))]
    assert titles == ["blend, full", "blend, half"]


def test_two_loads_are_no_curve() -> None:
    assert plotted_curves(certificate_of(a_run(points=2))) == ()


def test_the_same_curve_is_the_same_drawing(certificate: Certificate) -> None:
    curve, _ = plotted_curves(certificate)
    svg = curve_svg(curve)
    assert svg == curve_svg(curve)
    assert "date" not in svg.lower()
    ElementTree.fromstring(svg)
