"""Which circuit the analyzer's input is joined to, and whose word that is."""

from __future__ import annotations

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.requests import ConnectPath
from ohmwright.model.hardware import InputPath


class AnalyzerInput:
    """The analyzer's input at one bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._joined_by_hand: InputPath | None = None
        """As a person has joined it; None where nobody has said."""
        by_hand = bench.analyzer.data.has_paths and not bench.analyzer.protections.path_set
        self.told_by = bench.operator.name if by_hand else None
        """Whose word it is that the circuit is joined; None where the analyzer does it."""

    async def join(self, path: InputPath) -> None:
        """Join the input to the circuit `path`; a person does where the analyzer cannot itself.

        An analyzer that has no other circuit than the output's needs no joining.
        """
        analyzer = self._bench.analyzer
        if analyzer.protections.path_set:
            await analyzer.set_path(path)
        elif analyzer.data.has_paths and path != self._joined_by_hand:
            await self._bench.operator.carry_out(ConnectPath(path))
            self._joined_by_hand = path
