"""ohmwright: calibration and verification of electrosurgical generators.

    open_bench, bench       open a bench file: for asynchronous programs; for scripts and notebooks
    Sweep                   what a sweep measures; its cost by `estimate`
    Curve, read             a measured curve: compared, drawn, written; read from a file
    Run, Records            a run on record; the records of a place
    LivePlot                draws a sweep in a notebook while it goes on
    rehearse                a procedure on many invented units: wrong verdicts, time, heat
    register_step           a step kind of one's own, for procedures
    register_rule           a decision rule of one's own, for procedures
    OhmwrightError          every error: what happened, what it means, what to do

The names listed here are public, with the public attributes of what they return; versions of the
package are semantic (semver.org): until 1.0.0 a minor version may change a public name, and
changes.md says so. Anything else may change at any time.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ohmwright.api.async_bench import open_bench
    from ohmwright.api.curve import Curve
    from ohmwright.api.curve_file import read
    from ohmwright.api.live_plot import LivePlot
    from ohmwright.api.plain_bench import bench
    from ohmwright.api.records_view import Records
    from ohmwright.api.run_of_record import Run
    from ohmwright.api.sweep_plan import Sweep
    from ohmwright.engine.procedure import register_rule, register_step
    from ohmwright.model.errors import OhmwrightError
    from ohmwright.rehearsal.from_files import rehearse

__version__ = "0.1.0"
__all__ = [
    "Curve",
    "LivePlot",
    "OhmwrightError",
    "Records",
    "Run",
    "Sweep",
    "bench",
    "open_bench",
    "read",
    "register_rule",
    "register_step",
    "rehearse",
]
_PLACES = {
    "Curve": "api.curve",
    "LivePlot": "api.live_plot",
    "OhmwrightError": "model.errors",
    "Records": "api.records_view",
    "Run": "api.run_of_record",
    "Sweep": "api.sweep_plan",
    "bench": "api.plain_bench",
    "open_bench": "api.async_bench",
    "read": "api.curve_file",
    "register_rule": "engine.procedure",
    "register_step": "engine.procedure",
    "rehearse": "rehearsal.from_files",
}
"""Where each public name comes from, when it is first asked for: the command line needs none."""


def __getattr__(name: str) -> object:
    if name not in _PLACES:
        raise AttributeError(f"module 'ohmwright' has no attribute '{name}'")
    return getattr(import_module(f"ohmwright.{_PLACES[name]}"), name)


def __dir__() -> list[str]:
    return sorted((*globals(), *__all__))
