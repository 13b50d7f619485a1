"""The figure of rehearsals: nothing lies over what is drawn, and no half of it is empty."""

from collections.abc import Callable

from ohmwright.rehearsal.rehearse import Rehearsal
from ohmwright.rehearsal.unit_run import Rehearsed

from .test_summary import UNITS


def test_the_legend_lies_over_no_curve_and_long_names_leave_no_gap(
    make: Callable[..., Rehearsed],
) -> None:
    one = Rehearsal(make(), 10, tuple(UNITS))
    figure = one.plot(Rehearsal(make(percent=3), 10, tuple(UNITS)))
    figure.draw_without_rendering()
    upper, _ = figure.subfigs
    (legend,) = upper.legends
    assert [text.get_text() for text in legend.get_texts()] == [
        "Short, revision 1 (short-305.6-6.toml)",
        "Short, revision 1 (short-305.6-3.toml)",
    ]
    box = legend.get_window_extent()
    assert not any(axes.get_legend() for axes in figure.axes)
    assert not any(axes.get_tightbbox().overlaps(box) for axes in figure.axes)
    verdicts, times, *_ = (axes.get_position() for axes in figure.axes)
    assert times.x0 - verdicts.x1 < 0.15


def test_the_figure_of_a_stopped_rehearsal_says_so(make: Callable[..., Rehearsed]) -> None:
    whole = Rehearsal(make(), 10, tuple(UNITS)).plot()
    stopped = Rehearsal(make(), 12, tuple(UNITS[:1])).plot()
    assert [figure.get_suptitle() for figure in (whole, stopped)] == [
        "Rehearsal on 10 invented units, SIMULATED",
        "Rehearsal on 1 invented unit, SIMULATED; stopped: 11 of 12 not run",
    ]
