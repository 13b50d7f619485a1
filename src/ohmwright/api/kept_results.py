"""The results of a run so far, numbered as they come: a face asks for those it has not shown."""

from __future__ import annotations

from ohmwright.engine.stage import PointKey

from .run_picture import ResultPicture


class KeptResults:
    """The latest result of each point, oldest first, and no more than `most`."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[PointKey, tuple[int, ResultPicture]] = {}
        self.latest = 0
        """Number of the latest result; the first is 1."""

    def keep(self, key: PointKey, result: ResultPicture) -> None:
        """Add the result of a point, in place of an earlier one of the same."""
        self.latest += 1
        self._kept.pop(key, None)
        self._kept[key] = self.latest, result
        if len(self._kept) > self._most:
            del self._kept[next(iter(self._kept))]

    @property
    def all(self) -> tuple[ResultPicture, ...]:
        """All that are kept."""
        return tuple(result for _, result in self._kept.copy().values())

    @property
    def oldest(self) -> int:
        """Number of the oldest that is kept; 0 without any."""
        return next(iter(self._kept.copy().values()))[0] if self._kept else 0

    def since(self, number: int) -> tuple[tuple[int, ResultPicture], ...]:
        """Return those that came after the result `number`, each with its own number."""
        return tuple(each for each in self._kept.copy().values() if each[0] > number)
