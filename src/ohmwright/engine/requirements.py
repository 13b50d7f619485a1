"""Checks of what steps require of a bench: load, range, time and messages.

They yield complaints: the key of the step that asks, and what the bench cannot do.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import sqrt

from ohmwright.instruments.bench import Bench
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.given_values import NOTHING_GIVEN, GivenValues
from ohmwright.model.hardware import AnalyzerData, GeneratorData, Mode
from ohmwright.model.protections import Protections
from ohmwright.model.seen_text import seen_text
from ohmwright.model.step import Point
from ohmwright.wire.command_set import Verb

from .asked_current import asked_current_ma

Complaint = tuple[str, str]


@dataclass(frozen=True)
class Abilities:
    """What a bench can do, by its data files: nothing needs to be connected to know it."""

    analyzer: AnalyzerData
    generator: GeneratorData
    has_port: bool
    """Whether the generator has a port, so that no person works its panel."""
    attended: bool
    """Whether somebody answers requests."""
    certificate: AnalyzerCertificate | None = None
    analyzer_verbs: frozenset[Verb] | None = None
    """What the analyzer's command set has a message for; None where it has no command set."""
    generator_verbs: frozenset[Verb] | None = None
    """What the generator's command set has a message for; None where a person works it."""
    protections: Protections | None = None
    """None where nobody asks for them."""
    given: GivenValues = NOTHING_GIVEN
    """Answers that need not be asked for."""

    @property
    def read_by_eye(self) -> bool:
        """Whether a person types what the meter shows."""
        return self.protections is not None and "reading" in self.protections.by_hand

    @property
    def released_by_hand(self) -> bool:
        """Whether a release takes a person, to end RF or to say that nothing flows."""
        foot_switch = self.protections is not None and self.protections.foot_switch
        return foot_switch or self.read_by_eye


def abilities_of(bench: Bench, given: GivenValues = NOTHING_GIVEN) -> Abilities:
    """Return what `bench` can do; `given`: answers that need not be asked for."""
    return Abilities(
        bench.analyzer.data,
        bench.generator.data,
        has_port=bench.generator.unattended,
        attended=bench.operator.present,
        certificate=bench.certificate,
        analyzer_verbs=bench.analyzer.verbs,
        generator_verbs=bench.generator.verbs,
        protections=bench.analyzer.protections,
        given=given,
    )


def setting_within_mode(
    mode_name: str, setting_w: float, bench: Abilities, *, key: str = "setting_w"
) -> Iterator[Complaint]:
    """Complain where the generator lacks the mode, or mode or load bank cannot take the setting."""
    mode = bench.generator.mode(mode_name)
    if mode is None:
        names = ", ".join(mode.name for mode in bench.generator.modes)
        said = f"{bench.generator.model} has no mode '{mode_name}'; it has {names}"
        yield "mode", seen_text(said)
    elif setting_w > mode.max_setting_w:
        yield key, f"{setting_w:g} W is more than {mode.name}'s {mode.max_setting_w:g} W"
    yield from power_within_rating(setting_w, bench, key=key)


def power_within_rating(power_w: float, bench: Abilities, *, key: str) -> Iterator[Complaint]:
    """Complain where the power is over the load bank's rating."""
    rating_w = bench.analyzer.load_bank.max_power_w
    if power_w > rating_w:
        yield key, f"{power_w:g} W is over the load bank's rating of {rating_w:g} W"


def time_within_limits(max_on_s: float, bench: Abilities) -> Iterator[Complaint]:
    """Complain where an activation is too long for the load bank, or for ON to carry as limit."""
    bank, carried_s = bench.analyzer.load_bank, bench.analyzer.activation.max_limit_s
    if max_on_s > bank.max_on_s:
        limit = f"the load bank's {bank.max_on_s:g} s"
        yield "max_on_s", f"{max_on_s:g} s of activation is longer than {limit}"
    if carried_s is not None and max_on_s > carried_s:
        yield "max_on_s", f"{max_on_s:g} s is more than the ON command can carry ({carried_s:g} s)"


def lasting_share(power_w: float, bench: Abilities) -> float:
    """Return the share of the time for which load bank and generator bear `power_w` for ever."""
    bank, generator = bench.analyzer.load_bank, bench.generator
    rated_w = [bank.max_power_w * bank.duty]
    if generator.duty is not None:
        rated_w.append(generator.duty * max(mode.max_setting_w for mode in generator.modes))
    return min(1.0, *(mean_w / power_w for mean_w in rated_w))


def load_available(load_ohm: float, bench: Abilities, *, key: str) -> Iterator[Complaint]:
    """Complain where the load bank lacks the load resistance, and name the nearest one."""
    loads_ohm = bench.analyzer.load_bank.loads_ohm
    if load_ohm not in loads_ohm:
        nearest = min(loads_ohm, key=lambda load: abs(load - load_ohm))
        yield key, f"the load bank has no {load_ohm:g} ohm; the nearest is {nearest:g} ohm"


def points_within_range(
    points: Iterable[Point], bench: Abilities, *, key: str = "load_ohm", loaded: bool = True
) -> Iterator[Complaint]:
    """Complain of each point whose load is missing, or whose target is out of rating or range.

    `loaded`: whether the target is what flows into the load; a leakage is not.
    """
    for point in points:
        load_ohm = point.load_ohm
        yield from load_available(load_ohm, bench, key=key)
        current_ma = asked_current_ma(point)
        if loaded:
            yield from power_within_rating((current_ma / 1000) ** 2 * load_ohm, bench, key=key)
        exceeded = _exceeded_limit(current_ma, bench)
        if exceeded is not None:
            yield key, f"{current_ma:.0f} mA at {load_ohm:g} ohm is over {exceeded}"


def current_within_range(
    mode_name: str, setting_w: float, load_ohm: float, bench: Abilities
) -> Iterator[Complaint]:
    """Complain where the setting may drive more through the load than the meter can show."""
    current_ma = expected_ma(bench.generator.mode(mode_name), setting_w, load_ohm)
    exceeded = _exceeded_limit(current_ma, bench)
    if exceeded is not None:
        yield "load_ohm", f"{setting_w:g} W may drive {current_ma:.0f} mA there, over {exceeded}"


def expected_ma(mode: Mode | None, setting_w: float, load_ohm: float) -> float:
    """Return the current in mA that a setting should drive: P = I² R, up to the mode's limit."""
    current_ma = 1000 * sqrt(setting_w / load_ohm)
    if mode is None or mode.max_current_ma is None:
        return current_ma
    return min(current_ma, mode.max_current_ma)


def full_power_w(generator: GeneratorData, point_name: str) -> float:
    """Return the most that service mode can put into a load, in W: the mode's full setting.

    Of all modes, where the data do not name the point's.
    """
    point = generator.point(point_name)
    modes = [mode for mode in generator.modes if point is None or mode.name == point.mode]
    return max(mode.max_setting_w for mode in modes or generator.modes)


def _exceeded_limit(current_ma: float, bench: Abilities) -> str | None:
    """Return the limit that `current_ma` exceeds, the meter's or its certificate's; else None."""
    most_ma, certificate = bench.analyzer.meter.max_current_ma, bench.certificate
    if current_ma > most_ma:
        return f"the meter's {most_ma:g} mA"
    if certificate is not None and current_ma > certificate.current[-1].up_to_ma:
        return f"the {certificate.current[-1].up_to_ma:g} mA that the analyzer's certificate covers"
    return None
