"""Which points make a curve, and what the drawing holds."""

from xml.etree import ElementTree

import pytest

from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.curve_drawing import Drawing, round_values
from ohmwright.reports.curves import curve_svg, plotted_curves

from .conftest import LOADS_OHM, a_run, result

SVG = "{http://www.w3.org/2000/svg}"


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


def test_a_point_without_a_value_is_said_to_have_none() -> None:
    """Would notice a figure's text that reads "200 Ω: , limits"."""
    found = [result("as_left", "cut", f"{load:g} ohm", load_ohm=load) for load in LOADS_OHM[:3]]
    found[1] = found[1].model_copy(update={"measured": None, "verdict": "not measured"})
    (curve,) = plotted_curves(certificate_of(a_run(found)))
    assert curve.alt() == (
        "cut. 100 Ω: as left 101.0 W, limits 90.0 to 110.0 W. "
        "200 Ω: no value, limits 90.0 to 110.0 W. 500 Ω: as left 101.0 W, limits 90.0 to 110.0 W."
    )


def test_the_same_curve_is_the_same_drawing(certificate: Certificate) -> None:
    curve, _ = plotted_curves(certificate)
    svg = curve_svg(curve)
    assert svg == curve_svg(curve)
    assert "date" not in svg.lower()
    ElementTree.fromstring(svg)


def places(text: str) -> list[tuple[float, float]]:
    """The places that an attribute `points` lists, in pt."""
    return [(float(x), float(y)) for x, y in (pair.split(",") for pair in text.split())]


def test_values_lie_where_their_limits_and_loads_say() -> None:
    band = [(100.0, 80.0, 90.0, 100.0), (200.0, 80.0, 90.0, 100.0), (400.0, 60.0, 70.0, 80.0)]
    found = [(100.0, 100.0, 2.0), (400.0, 60.0, 2.0)]
    root = ElementTree.fromstring(Drawing("W", band, found, ()).svg())
    polygon, target, line = (
        places(element.attrib["points"])
        for element in root
        if element.tag in (f"{SVG}polygon", f"{SVG}polyline")
    )
    assert line == [polygon[0], polygon[3]], "on the upper limit first, on the lower one at last"
    assert target[1][0] - target[0][0] == pytest.approx(target[2][0] - target[1][0], abs=0.011)
    assert target[0][1] == pytest.approx((polygon[0][1] + polygon[-1][1]) / 2, abs=0.011)
    assert polygon[0][1] < polygon[-1][1], "larger values stand higher"
    said = [element.text for element in root.iter(f"{SVG}text")]
    assert said[:3] == ["100", "200", "400"]
    assert said[-3:] == ["tolerance", "target", "as found"], "nothing was measured as left"


@pytest.mark.parametrize(
    ("low", "high", "texts"),
    [
        (88.0, 123.0, ["90", "100", "110", "120"]),
        (-0.004, 0.104, ["0.00", "0.02", "0.04", "0.06", "0.08", "0.10"]),
        (14.0, 36.0, ["15", "20", "25", "30", "35"]),
        (0.9, 7.1, ["2", "4", "6"]),
    ],
)
def test_axes_have_round_values(low: float, high: float, texts: list[str]) -> None:
    assert [text for _, text in round_values(low, high)] == texts
    assert all(float(text) == pytest.approx(value) for value, text in round_values(low, high))


def test_a_curve_without_any_width_can_be_drawn() -> None:
    flat = [(load, 5.0, 5.0, 5.0) for load in (1.0, 2.0, 3.0)]
    ElementTree.fromstring(Drawing("%", flat, (), ()).svg())
