"""Persons coached at the keys, beside remote trims on the same units.

    python scripts/bench/coached.py [--units 100] [--seed 1] [--slips 0.05] [--jobs 1]

Each unit is adjusted twice in virtual time: by a simulated person who acts on cues (reaction 1 to
5 s, 0.3 to 0.8 s a press, a share of cues with a slip: missed, doubled, other key, other
direction), and by port. A slip is `named` if the coach said of it that something else than what
was asked for was seen; `doubted` if it said that the meter cannot tell whether it was just that;
`felt` if neither, but the output was not where it was foretold and was moved again; else `left`:
nothing came of it, and the point was confirmed on its own readings. `left, out of tolerance` must
be none. Those that are not named are listed.

A slip can be noticed (`noticeable`) where both its effect on the output and what the output then
is off what was foretold, by the simulator's truth, are at least six times the standard deviation of
the output that was foretold with the presses as asked: of the level, which droop and hunting move,
and of what the presses do, as far as it is known. Two slips the same way look like none: who
presses down for up while a key is learned, and up for down next, does what was foretold. Why six:
of two outputs d deviations apart, of which the slip was beforehand 90 times less likely (log 90 =
4.5), the slip is the likelier by the readings in a share Phi(d/2 - 4.5/d) of all cases, whoever
judges: 50 % at 3, 91 % at 4.3, 98.8 % at 6. Prints one table and a JSON line.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from statistics import median
from typing import NamedTuple

import anyio

from ohmwright.adjustment import press_reports
from ohmwright.adjustment.press_watch import PressWatch
from ohmwright.adjustment.press_weighing import PressRequest
from ohmwright.engine.coach_words import CANNOT_TELL, NAMES_SLIP
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.engine.run import run
from ohmwright.estimation.prior import TransientPrior
from ohmwright.fleet.binomial import clopper_pearson
from ohmwright.instruments.bench import Bench
from ohmwright.model.cue import Cue
from ohmwright.model.event import Asked, PointDone
from ohmwright.model.result import Result
from ohmwright.model.shipped import shipped
from ohmwright.rehearsal.from_files import rehearsed_files
from ohmwright.rehearsal.population import unit_seed
from ohmwright.rehearsal.rehearsed_bench import RehearsedBench
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.cued_hands import Acted
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.command_set import load_command_set
from scripts.bench.job import landing

PROCEDURE, BENCH = "attended-marlow.toml", "attended.toml"
_SUCCESS, _RATIO, _FALSE = 0.995, 1.3, 0.001
_NOTICEABLE_SDS = 6.0


class Slipped(NamedTuple):
    """One slip, and what came of it."""

    outcome: str
    """`named`, `doubted`, `felt` or `left`."""
    effect: float
    """What it did to the output, by the simulator's truth, over the target."""
    effect_sds: float
    """The effect, or what the output is off what was foretold if that is less, in standard
    deviations of that; 0 where no reading followed."""
    words: str
    """What was asked for, and the slip."""

    @property
    def noticeable(self) -> bool:
        """Whether readings can tell it from what was asked for."""
        return self.effect_sds >= _NOTICEABLE_SDS


@dataclass
class PointLook:
    """One point of one unit: how it ended, and what came of each slip."""

    verdict: str
    landing: float
    """True error as the meter would read it, in tolerances."""
    on_s: float
    slips: list[Slipped] = field(default_factory=list)
    cues: int = 0
    named: bool = False
    """Whether the coach has named a slip."""
    key_answers: int = 0
    """Answers that had to be typed about presses."""

    @property
    def inside(self) -> bool:
        """Whether the output is in tolerance."""
        return abs(self.landing) <= 1


def by_person(rehearsed_bench: RehearsedBench, seed: int, unit: int) -> list[PointLook]:
    """Adjust a unit at its keys."""
    return anyio.run(_adjusted, rehearsed_bench, unit_seed(seed, unit))


def by_port(rehearsed_bench: RehearsedBench, seed: int, unit: int) -> list[PointLook]:
    """Adjust the same unit by port."""
    commands = load_command_set("scpi-1999-generator", Path())
    remote = replace(rehearsed_bench, generator_commands=commands)
    return anyio.run(_adjusted, remote, unit_seed(seed, unit))


def procedure_and_bench(slips: float) -> tuple[ProcedureFile, RehearsedBench]:
    """Return the procedure, and the bench whose person slips in a share of all cues."""
    rehearsed, *_ = rehearsed_files(
        [shipped("procedures", PROCEDURE)], shipped("benches", BENCH), seed=1, slips=slips
    )
    return rehearsed.file, rehearsed.bench


async def _adjusted(rehearsed_bench: RehearsedBench, seed: int) -> list[PointLook]:
    bench, hardware = rehearsed_bench.opened(seed)
    file, _ = procedure_and_bench(0.0)
    watches = _note_watches()
    shown = _note_cues(bench, watches, hardware)
    looks, answers, told = [], 0, 0
    async for event in run(Job(file, ("adjust",), f"unit-{seed}"), bench):
        if isinstance(event, Asked):
            answers += "Press " in event.question
        elif isinstance(event, PointDone):
            look = _look(event.result, hardware)
            look.slips = list(_slips(shown[told:], watches, hardware, event.result))
            look.cues = len(shown) - told
            look.named = any(_names_slip(each.cue) for each in shown[told:])
            look.key_answers, answers, told = answers, 0, len(shown)
            looks.append(look)
            if look.verdict != "pass" or not look.inside or look.key_answers:
                print(f"seed {seed}: {event.result.point} {look}", file=sys.stderr)
    return looks


def _look(result: Result, hardware: SimulatedBench) -> PointLook:
    off = float("nan") if result.target is None else landing(result.target, hardware)
    return PointLook(result.verdict, off, result.on_s)


class Shown(NamedTuple):
    """A cue, what was really done on it, and when it was shown."""

    cue: Cue
    acted: Acted | None
    watches: int
    """How many requests had been watched for by then, with RF on this one among them."""
    trims: dict[str, int]
    """Where the trims stood, by the simulator's truth."""

    @property
    def watch(self) -> int:
        """Which watch looks for what this cue asks for; with RF off it is the next."""
        return self.watches if "RF is off" in self.cue.words else self.watches - 1


def _note_watches() -> list[PressWatch]:
    """Let every watch for presses from now on be noted in the list that is returned."""
    watches = list[PressWatch]()

    def noted(request: PressRequest, prior: TransientPrior) -> PressWatch:
        watches.append(PressWatch(request, prior))
        return watches[-1]

    vars(press_reports)["PressWatch"] = noted
    return watches


def _note_cues(
    bench: Bench, watches: Sequence[PressWatch], hardware: SimulatedBench
) -> list[Shown]:
    """Let every cue be noted in the list that is returned."""
    person, shown = bench.operator, list[Shown]()
    if isinstance(person, SimulatedOperator):
        follow = person.cue

        def cue(each: Cue) -> None:
            before = len(person.hands.acted)
            follow(each)
            acted = person.hands.acted[-1] if len(person.hands.acted) > before else None
            shown.append(Shown(each, acted, len(watches), dict(hardware.truth.trims)))

        person.cue = cue  # type: ignore[assignment, method-assign]
    return shown


def _slips(
    shown: Sequence[Shown],
    watches: Sequence[PressWatch],
    hardware: SimulatedBench,
    result: Result,
) -> Iterator[Slipped]:
    """Yield each slip among the cues of a point, and what came of it."""
    for n, each in enumerate(shown):
        if each.acted is None or each.acted.slip == "":
            continue
        effect = _effect(each.acted, hardware, result)
        watched, sds = watches[each.watch : each.watch + 1], 0.0
        if watched:
            off = (
                _output(hardware, result, _trim_after(shown[n:], result.point))
                - watched[0].predicted.mean
            )
            sds = min(abs(effect), abs(off)) / watched[0].predicted.sd
        outcome = _outcome(_until_next_slip(each, shown[n + 1 :]))
        yield Slipped(outcome, effect, sds, f"{each.cue.words} {each.acted.slip}")


def _until_next_slip(slip: Shown, later: Sequence[Shown]) -> list[Cue]:
    """Return the cues up to that of the next slip: what is said after it is said of that.

    Slips that one activation shows together are one.
    """
    slips = (
        n
        for n, each in enumerate(later)
        if each.watch != slip.watch and each.acted is not None and each.acted.slip
    )
    return [each.cue for each in later[: next(slips, len(later)) + 1]]


def _outcome(later: Sequence[Cue]) -> str:
    """Return what came of a slip, by the cues that were shown after it."""
    if any(_names_slip(each) for each in later):
        return "named"
    if any(CANNOT_TELL in each.words + each.seen for each in later):
        return "doubted"
    moved = any(each.kind == "press" for each in _after_judging(later))
    return "felt" if moved else "left"


def _effect(acted: Acted, hardware: SimulatedBench, result: Result) -> float:
    """Return what a slip did to the current, over the target."""
    truth, coarse = hardware.truth, hardware.truth.unit.coarse_counts

    def counts(key: str, direction: str) -> int:
        return (coarse if key == "coarse" else 1) * (1 if direction == "up" else -1)

    asked = acted.cue.presses * counts(acted.cue.key, acted.cue.direction)
    made = set(truth.pressed)  # a cue that comes earlier lets some be
    done = sum(counts(*press[1:]) for press in acted.presses if press in made)
    trim = truth.trims[result.point]
    low, high = (_output(hardware, result, trim + more) for more in (0, done - asked))
    return high - low


def _trim_after(shown: Sequence[Shown], point: str) -> int:
    """Return where the trim stood after the presses of the first cue, and of those with it."""
    after = (each for each in shown[1:] if "RF is off" not in each.cue.words)
    return next(after, shown[-1]).trims[point]


def _output(hardware: SimulatedBench, result: Result, trim: int) -> float:
    """Return the current without lag with the trim there, over the target."""
    if result.target is None or not result.target.value:
        return float("nan")
    current_ma = hardware.truth.lag_free_current_ma(
        mode=result.mode, load_ohm=result.load_ohm, trims={result.point: trim}
    )
    return current_ma / result.target.value


def _names_slip(cue: Cue) -> bool:
    return any(name in cue.words + cue.seen for name in NAMES_SLIP)


def _after_judging(later: Sequence[Cue]) -> Sequence[Cue]:
    """Return the cues after RF came on again: what was pressed is shown by then."""
    held = (n for n, each in enumerate(later) if each.kind == "hold")
    return later[next(held, len(later)) :]


def _figures(coached: list[PointLook], remote: list[PointLook]) -> dict[str, float]:
    passed = [look for look in coached if look.verdict == "pass"]
    false = sum(not look.inside for look in passed)
    slips = [(slip, look) for look in coached for slip in look.slips]
    left = [look for slip, look in slips if slip.outcome in ("doubted", "left")]
    on_s, remote_s = (median(x.on_s for x in looks) for looks in (coached, remote))
    return {
        "points": len(coached),
        "success": sum(look.inside for look in passed) / len(coached),
        "success by port": sum(x.verdict == "pass" and x.inside for x in remote) / len(remote),
        "false accepts": false,
        "false accept, 95 % upper bound": clopper_pearson(false, len(passed), 0.9).upper,
        "RF-on s, median": on_s,
        "RF-on s by port, median": remote_s,
        "RF-on ÷ by port, median": on_s / remote_s,
        "RF-on s, p95": _p95([x.on_s for x in coached]),
        "RF-on s by port, p95": _p95([x.on_s for x in remote]),
        "landing, p95, tolerances": _p95([abs(x.landing) for x in coached]),
        "landing by port, p95, tolerances": _p95([abs(x.landing) for x in remote]),
        "points with a typed answer about presses": sum(x.key_answers > 0 for x in coached),
        "points without a slip, one named": sum(x.named and not x.slips for x in coached),
        "slips, all": len(slips),
        "slips noticeable": sum(slip.noticeable for slip, _ in slips),
        "slips noticed": sum(slip.outcome == "named" for slip, _ in slips),
        "slips noticeable, not noticed": sum(
            slip.outcome != "named" and slip.noticeable for slip, _ in slips
        ),
        "slips of 3 to 6 sd": sum(3 <= slip.effect_sds < 6 for slip, _ in slips),
        "slips of 3 to 6 sd, noticed": sum(
            slip.outcome == "named" and 3 <= slip.effect_sds < 6 for slip, _ in slips
        ),
        "slips doubted": sum(slip.outcome == "doubted" for slip, _ in slips),
        "slips felt": sum(slip.outcome == "felt" for slip, _ in slips),
        "slips left, in tolerance": sum(look.inside for look in left),
        "slips left, out of tolerance": sum(not look.inside for look in left),
    }


def _p95(values: list[float]) -> float:
    return sorted(values)[int(0.95 * (len(values) - 1))]


_BARS = {
    "success": f"at least {_SUCCESS}",
    "false accept, 95 % upper bound": f"at most {_FALSE}",
    "RF-on ÷ by port, median": f"at most {_RATIO}",
    "points with a typed answer about presses": "0 where the person acts",
    "slips noticeable, not noticed": "0",
    "slips left, out of tolerance": "0",
}


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--units", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--slips", type=float, default=0.05)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    _, bench = procedure_and_bench(options.slips)
    with ProcessPoolExecutor(options.jobs) as pool:
        coached, remote = (
            [
                look
                for looks in pool.map(partial(way, bench, options.seed), range(options.units))
                for look in looks
            ]
            for way in (by_person, by_port)
        )
    figures = _figures(coached, remote)
    for slip in (slip for look in coached for slip in look.slips if slip.outcome != "named"):
        print(
            f"not noticed, {slip.outcome}: {slip.words}: {100 * slip.effect:+.2f} %, "
            f"{slip.effect_sds:.1f} sd"
        )
    for name, value in figures.items():
        print(f"{name:42} {value:10.4g}  {_BARS.get(name, '')}")
    print(json.dumps({"bench": "coached", "units": options.units, **figures}))


if __name__ == "__main__":
    main()
