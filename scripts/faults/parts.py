"""The parts of the harness in the order in which they run, and the replay of one trial."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from . import (
    cancel,
    compound,
    database_damage,
    database_kill,
    dialects,
    files,
    hazards,
    kill_guards,
    kills,
    messages,
    real_time,
    records,
)
from .rig import Case
from .row import Row


@dataclass(frozen=True)
class Options:
    """What the command line says of every part."""

    seed: int
    reduced: bool = False
    jobs: int = 2
    """Children at a time."""
    every: int = 0
    """Every so many messages meet each fault; 0: as many as each part has time for."""
    kind: str | None = None
    """Of messages: this kind alone."""
    mutate: str = ""


def _database(options: Options) -> Iterator[Row]:
    yield from database_kill.rows(options.seed, reduced=options.reduced)
    yield from database_damage.rows(options.seed, reduced=options.reduced)


PARTS: dict[str, Callable[[Options], Iterator[Row]]] = {
    "cancel": lambda o: cancel.rows(o.seed, o.reduced, o.jobs),
    "messages": lambda o: messages.rows(o.seed, o.reduced, o.jobs, o.every or 1, o.kind),
    "compound": lambda o: compound.rows(o.seed, o.reduced),
    "dialects": lambda o: dialects.rows(o.reduced, o.every),
    "hazards": lambda o: hazards.rows(o.seed, o.reduced),
    "records": lambda o: records.rows(o.seed, o.reduced),
    "files": lambda o: files.rows(o.seed, o.reduced),
    "database": _database,
    # these mostly wait
    "kills": lambda o: kills.PART.rows(o.seed, o.reduced, jobs=3 * o.jobs, mutate=o.mutate),
    "guards": lambda o: kill_guards.PART.rows(o.seed, o.reduced, jobs=2 * o.jobs, mutate=o.mutate),
}


def replay(spec: str, mutate: str = "") -> dict[str, Any] | None:
    """What comes of one trial, named as a failure printed it; None where its part has no replay."""
    part, name, seed, fault = spec.split("/", 3)
    match part:
        case "cancel":
            return cancel.replay(Case(name, int(seed)), fault)
        case "messages":
            return messages.replay(Case(name, int(seed)), fault)
        case "files":
            return files.replay(files.Trial(name, int(seed), int(fault)))
        case "kills" | "guards":
            trial = real_time.Trial(name, int(seed), int(fault))
            timed = kills.PART if part == "kills" else kill_guards.PART
            return timed.replay(trial, mutate=mutate)
    return None
