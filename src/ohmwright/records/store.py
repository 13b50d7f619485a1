"""The interface of a store of runs; append-only."""

from __future__ import annotations

from abc import ABC, abstractmethod

from ohmwright.model.event import Event


class Store(ABC):
    """Stores runs as sequences of events; an event is on disk when `append` returns."""

    @abstractmethod
    def append(self, run_id: str, event: Event) -> None:
        """Store `event` as the next of its run. Raises RecordError when it cannot be stored."""

    @abstractmethod
    def events(self, run_id: str) -> tuple[Event, ...]:
        """Every event of a run, in order.

        Raises UsageError when there is no such run, RecordError when it is damaged.
        """

    @abstractmethod
    def run_ids(self) -> tuple[str, ...]:
        """The names of all runs, oldest first."""

    @abstractmethod
    def voided_run_ids(self) -> frozenset[str]:
        """The names of the runs that are void."""

    @abstractmethod
    def place(self, run_id: str) -> str:
        """Where the run is stored, in words for a person."""
