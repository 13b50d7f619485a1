"""Who must be at a bench while RF is on: said before a run, refused where nobody can answer."""

from __future__ import annotations

from ohmwright.engine.capability import not_left_alone
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import OutOfCapability

from .console import err
from .keyboard import input_has_ended
from .terminal_operator import TerminalOperator


def see_who_stands_by(bench: Bench) -> None:
    """Print who must be there, where a person at this terminal must.

    Raises OutOfCapability where standard input has ended: then nobody answers here, and as
    `--unattended` the run is refused before anything is switched on.
    """
    protections = bench.analyzer.protections
    if protections.grade == "unattended" or not isinstance(bench.operator, TerminalOperator):
        return
    if input_has_ended():
        raise OutOfCapability(
            "There is nobody to answer: standard input has ended, and "
            f"{not_left_alone(protections)}",
            "Nothing was switched on.",
            "Run it in a terminal, with a person at the generator's mains switch; or use another "
            "bench.",
        )
    words = protections.grade_words
    err().print(f"{words[0].upper()}{words[1:]}.", style="bold", soft_wrap=True)
