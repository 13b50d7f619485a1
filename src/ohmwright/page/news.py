"""What a screen is told: each bench as it is now, and what is new since the last time."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import anyio

from ohmwright.api.kept_results import KeptResults
from ohmwright.api.run_view import unit_words
from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed, RfUnsafe
from ohmwright.wire.clock import Clock

from .desk import Desk
from .screens import Screen, Screens

LOOK_EVERY_S = 0.05
BEAT_S = 1.0
"""A screen hears something at least so often, and takes the server for gone after a few of them."""


@dataclass
class _Known:
    """What a screen has been told of a bench."""

    version: int = -1
    reading: int = 0
    run: int = -1
    result: int = 0


@dataclass
class _Drawn:
    """The picture of a bench, drawn once for all screens."""

    changes: int = -1
    at_s: float = 0.0
    version: int = 0
    lease: tuple[int | None, int | None] = (None, None)
    text: str = ""


@dataclass
class Newsroom:
    """Draws the benches as they change, and streams them to each screen as fast as it reads."""

    desks: Sequence[Desk]
    screens: Screens
    clock: Clock
    _drawn: dict[int, _Drawn] = field(default_factory=dict)
    _closed: bool = False

    def close(self) -> None:
        """End every stream once it has told how each bench is left."""
        for desk in self.desks:
            self._draw(desk)
        self._closed = True
        for screen in self.screens:
            screen.alarm()

    async def watch(self) -> None:
        """Draw what has changed until it is closed, also while the server ends."""
        with anyio.CancelScope(shield=True):
            while not self._closed:
                await self.clock.sleep(LOOK_EVERY_S)
                self.screens.drop_gone()
                for desk in self.desks:
                    self._draw(desk)

    def _draw(self, desk: Desk) -> None:
        """Draw a bench where something has changed, or its times have gone on for a second."""
        drawn = self._drawn.setdefault(desk.number, _Drawn())
        now_s, lease = self.clock.now_s(), (desk.lease.holder, desk.lease.asker)
        is_old = desk.is_busy and now_s - drawn.at_s >= BEAT_S
        if drawn.changes == desk.changes and drawn.lease == lease and not is_old:
            return
        drawn.changes, drawn.at_s, drawn.lease = desk.changes, now_s, lease
        drawn.version += 1
        drawn.text = _bench_text(desk)
        for screen in self.screens:
            screen.alarm()

    async def stream(self, screen: Screen) -> AsyncIterator[str]:
        """Yield what `screen` is to be told, from the beginning, as server-sent events."""
        known = {desk.number: _Known() for desk in self.desks}
        hello = {"screen": screen.number, "key": screen.key, "benches": len(self.desks)}
        yield self._event("hello", hello)
        is_last = False
        while not is_last:
            is_last = self._closed
            told, screen.wake = False, anyio.Event()  # what changes while it is told sets it
            for desk in self.desks:
                message = self._message(desk, known[desk.number])
                if message is not None:
                    told = True
                    yield message
            if not told:
                yield self._event("beat", {})
            with anyio.move_on_after(0 if self._closed else BEAT_S):
                await screen.wake.wait()

    def _message(self, desk: Desk, known: _Known) -> str | None:
        """Return the news of a bench since `known`, which is brought up to date; None for none."""
        drawn = self._drawn.get(desk.number)
        if drawn is None or drawn.version == known.version:
            return None
        known.version = drawn.version
        if known.run != desk.runs:
            known.run, known.reading, known.result = desk.runs, 0, 0
        new = [r for r in desk.readings if r.number > known.reading]
        parts = [
            f'"at_s":{self.clock.now_s():.3f}',
            f'"bench":{desk.number}',
            f'"run":{desk.runs}',
            f'"now":{drawn.text}',
            f'"readings":{json.dumps([[r.bench_s, r.current_ma] for r in new])}',
        ]
        if new:
            known.reading = new[-1].number
        results = desk.watch.results
        if known.result != results.latest:
            parts.append(f'"results":{_results_text(results, known.result)}')
            known.result = results.latest
        return f"event: bench\ndata: {{{','.join(parts)}}}\n\n"

    def _event(self, kind: str, data: dict[str, Any]) -> str:
        """Return a message with the time, which a screen sends back with its orders."""
        told = {"at_s": round(self.clock.now_s(), 3), **data}
        return f"event: {kind}\ndata: {json.dumps(told)}\n\n"


def _bench_text(desk: Desk) -> str:
    """Return a bench as JSON, without its readings and results."""
    picture = desk.picture()
    return (
        f"{json.dumps(_desk_facts(desk))[:-1]},"
        f'"picture":{picture.model_dump_json(exclude={"trend", "results"})}}}'
    )


def _results_text(results: KeptResults, known: int) -> str:
    """Return the results after the number `known` as JSON, and the oldest that still counts."""
    rows = [{"number": n, **one.model_dump(mode="json")} for n, one in results.since(known)]
    return json.dumps({"oldest": results.oldest, "new": rows})


def _desk_facts(desk: Desk) -> dict[str, Any]:
    file, unit, lease = desk.data.file, desk.unit, desk.lease
    off_at = desk.off_reading.at
    return {
        "name": file.name,
        "unit": "" if unit is None else unit_words(unit, with_serial=desk.may_show_serial),
        "asset": "" if unit is None else unit.id,
        "own_asset": "" if desk.own_unit is None else desk.own_unit.id,
        "models": desk.models,
        "model": desk.data.generator.model,
        "simulated": file.simulation is not None,
        "practice": desk.is_practice,
        "panel": desk.source.panel(),
        "debrief": desk.source.debrief(),
        "state": desk.state,
        "run_id": desk.run_id,
        "keyed_by_foot": "foot switch" in file.analyzer.by_hand,
        "rf_off_at": None if off_at is None else off_at.isoformat(),
        "holder": lease.holder,
        "asker": lease.asker,
        "take_over_in_s": round(lease.take_over_in_s, 1) if lease.asker is not None else None,
        "error": None if desk.error is None else error_facts(desk.error),
    }


def error_facts(error: OhmwrightError) -> dict[str, Any]:
    """Return an error as data: what happened, what it means, what to do.

    `is_urgent`: a person must see to RF at the bench; `rf_unknown`: it was not read as off since.
    """
    return {
        "happened": error.happened,
        "means": error.means,
        "do": error.do,
        "is_urgent": isinstance(error, RfUnsafe),
        "rf_unknown": isinstance(error, ReleaseNotConfirmed),
    }
