"""Joins the analyzer's input to the circuit to be measured, by command or by a person."""

from __future__ import annotations

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.requests import ConnectPath
from ohmwright.model.hardware import InputPath


class AnalyzerInput:
    """The input of the analyzer of one bench, which can be joined to one circuit at a time."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._joined_by_hand: InputPath | None = None
        """The circuit that a person has joined last; None before they were asked."""
        by_hand = bench.analyzer.data.has_paths and not bench.analyzer.protections.path_set
        self.told_by = bench.operator.name if by_hand else None
        """Name of the person who joins the circuits; None where the analyzer does."""

    async def join(self, path: InputPath) -> None:
        """Join the input to the circuit `path`, by command where the analyzer has one.

        Else a person is asked to, once for each change. An analyzer with the output's circuit alone
        is left as it is.
        """
        analyzer = self._bench.analyzer
        if analyzer.protections.path_set:
            await analyzer.set_path(path)
        elif analyzer.data.has_paths and path != self._joined_by_hand:
            await self._bench.operator.carry_out(ConnectPath(path))
            self._joined_by_hand = path
