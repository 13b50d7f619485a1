"""Where the events of a run are kept; append-only."""

from __future__ import annotations

from abc import ABC, abstractmethod

from ohmwright.model.event import Event


class Store(ABC):
    """Keeps runs. An event is safe when `append` returns (rule 12)."""

    @abstractmethod
    def append(self, run_id: str, event: Event) -> None:
        """Keep `event` as the next of its run. Raises RecordError when it cannot be kept."""

    @abstractmethod
    def events(self, run_id: str) -> tuple[Event, ...]:
        """Every event of a run, in order.

        Raises UsageError when there is no such run, RecordError when it is damaged.
        """

    @abstractmethod
    def run_ids(self) -> tuple[str, ...]:
        """Every run, oldest first."""

    @abstractmethod
    def place(self, run_id: str) -> str:
        """What a person is told about where the run is kept."""
