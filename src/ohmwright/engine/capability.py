"""Can this bench do what the procedure asks? Answered before anything is switched on (rule 6)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.needs import (
    ALARM,
    CONTACT,
    LEAKAGE,
    MODES,
    SERVICE,
    WAVEFORM,
    lacking,
)
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.errors import ProcedureError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.procedure import (
    AdjustStep,
    ContactQualityStep,
    CrestFactorStep,
    HalfAndFullStep,
    InspectionStep,
    InstructionStep,
    LeakageStep,
    MonotonicityStep,
    OutputStep,
    PowerCurveStep,
    Procedure,
    Stage,
    Step,
)
from ohmwright.model.procedure_file import ProcedureFile
from ohmwright.model.step import ModeStep
from ohmwright.wire.command_set import Verb

from .adjust import full_power_w

KeyedStep = (
    OutputStep | PowerCurveStep | HalfAndFullStep | MonotonicityStep | LeakageStep | CrestFactorStep
)
Complaint = tuple[str, str]
"""The key that asks, and what the bench cannot do."""


@dataclass(frozen=True)
class Abilities:
    """What a bench can do, without opening it."""

    analyzer: AnalyzerData
    generator: GeneratorData
    has_port: bool
    attended: bool
    certificate: AnalyzerCertificate | None = None
    analyzer_verbs: frozenset[Verb] | None = None
    """What the analyzer's command set has a message for; None where it has no command set."""
    generator_verbs: frozenset[Verb] | None = None
    """The same of the generator's; None where a person works it."""


def refuse_impossible(file: ProcedureFile, stages: tuple[Stage, ...], bench: Bench) -> None:
    """Raise ProcedureError with the line of everything that `bench` cannot do."""
    abilities = Abilities(
        bench.analyzer.data,
        bench.generator.data,
        has_port=bench.generator.unattended,
        attended=bench.operator.present,
        certificate=bench.certificate,
        analyzer_verbs=bench.analyzer.verbs,
        generator_verbs=bench.generator.verbs,
    )
    lines = list(complaints(file, stages, abilities))
    if lines:
        raise ProcedureError(
            "\n".join(lines), "Nothing was switched on.", "Correct the procedure or change bench."
        )


def complaints(
    file: ProcedureFile, stages: tuple[Stage, ...], abilities: Abilities
) -> Iterator[str]:
    """One line for each thing that cannot be done, with its place in the procedure."""
    procedure = file.procedure
    if procedure.model != abilities.generator.model:
        line, column = file.positions[("model",)]
        yield (
            f"{file.path}:{line}:{column}: the procedure is for {procedure.model}, "
            f"the bench holds {abilities.generator.model}."
        )
    for step in procedure.step:
        if set(step.stages) & set(stages):
            for key, what in dict.fromkeys(_step_complaints(procedure, step, abilities)):
                yield f"{file.place(step.name, key)}: step '{step.name}': {what}."


def _step_complaints(procedure: Procedure, step: Step, abilities: Abilities) -> Iterator[Complaint]:
    if not abilities.attended:
        yield from _needs_a_person(step, abilities)
    yield from _messages(step, abilities)
    match step:
        case OutputStep() | PowerCurveStep() | HalfAndFullStep() | LeakageStep():
            yield from _mode(procedure, step, abilities)
            if isinstance(step, LeakageStep):
                yield from _leakage(step, abilities.analyzer)
            yield from _loads_and_currents(step, abilities)
        case MonotonicityStep() | CrestFactorStep():
            yield from _mode(procedure, step, abilities)
            yield from _load("load_ohm", step.load_ohm, abilities.analyzer)
            yield from _full_current(step, abilities)
            if isinstance(step, CrestFactorStep) and not abilities.analyzer.waveform:
                yield "kind", "the analyzer captures no waveform"
        case AdjustStep():
            yield from _service(procedure, step, abilities.generator)
            power_w = full_power_w(abilities.generator, step.point)
            if power_w > abilities.analyzer.load_bank.max_power_w:
                yield "point", _over_rating(power_w, abilities.analyzer)
            yield from _time(procedure, step, abilities.analyzer)
            yield from _loads_and_currents(step, abilities)
        case ContactQualityStep():
            yield from _contact_quality(step, abilities)
        case _:
            return


def _messages(step: Step, abilities: Abilities) -> Iterator[Complaint]:
    """What the step needs said and a command set has no words for."""
    by_analyzer, by_generator = _needs(step)
    if isinstance(step, AdjustStep) and not abilities.attended:
        by_generator = (*MODES, *by_generator)  # the proof before it keys a mode
    for who, verbs, needed in (
        ("analyzer", abilities.analyzer_verbs, by_analyzer),
        ("generator", abilities.generator_verbs, by_generator),
    ):
        if missing := lacking(verbs, needed):
            yield "kind", f"the {who}'s command set has no {missing}"


def _needs(step: Step) -> tuple[tuple[Verb, ...], tuple[Verb, ...]]:
    """Messages to the analyzer and to the generator."""
    match step:
        case LeakageStep():
            return LEAKAGE, MODES
        case CrestFactorStep():
            return WAVEFORM, MODES
        case ContactQualityStep():
            return CONTACT, ALARM
        case AdjustStep():
            return (), SERVICE
        case InspectionStep() | InstructionStep():
            return (), ()
        case _:
            return (), MODES


def _needs_a_person(step: Step, abilities: Abilities) -> Iterator[Complaint]:
    if isinstance(step, InspectionStep | InstructionStep):
        yield "kind", "it needs a person, and the run is unattended"
    elif not abilities.has_port:
        yield "kind", "the generator has no port, so a person must work it"
    path = isinstance(step, LeakageStep | ContactQualityStep | ModeStep | AdjustStep)
    if path and abilities.analyzer.has_paths and lacking(abilities.analyzer_verbs, ("set_path",)):
        yield "kind", "the command set has no 'set_path', so a person must join the input"
    contact = abilities.analyzer.activation
    if not contact.bounded and not isinstance(step, InspectionStep | InstructionStep):
        yield "kind", "the analyzer bounds no activation by itself, so a person must stand by"


def _mode(procedure: Procedure, step: KeyedStep, abilities: Abilities) -> Iterator[Complaint]:
    """The mode, its setting, and how long it is on."""
    generator, bank = abilities.generator, abilities.analyzer.load_bank
    key = "settings_w" if isinstance(step, MonotonicityStep) else "setting_w"
    mode = generator.mode(step.mode)
    if mode is None:
        names = ", ".join(mode.name for mode in generator.modes)
        yield "mode", f"{generator.model} has no mode '{step.mode}'; it has {names}"
    elif step.setting_w > mode.max_setting_w:
        yield key, f"{step.setting_w:g} W is more than {mode.name}'s {mode.max_setting_w:g} W"
    yield from _time(procedure, step, abilities.analyzer)
    if step.setting_w > bank.max_power_w:
        yield key, _over_rating(step.setting_w, abilities.analyzer)


def _time(
    procedure: Procedure, step: KeyedStep | AdjustStep, analyzer: AnalyzerData
) -> Iterator[Complaint]:
    max_on_s = procedure.timing(step).max_on_s
    if max_on_s > analyzer.load_bank.max_on_s:
        limit = f"the load bank's {analyzer.load_bank.max_on_s:g} s"
        yield "max_on_s", f"{max_on_s:g} s of activation is longer than {limit}"
    carried_s = analyzer.activation.max_limit_s
    if carried_s is not None and max_on_s > carried_s:
        yield "max_on_s", f"{max_on_s:g} s is more than the ON command can carry ({carried_s:g} s)"


def _loads_and_currents(
    step: OutputStep | PowerCurveStep | HalfAndFullStep | LeakageStep | AdjustStep,
    abilities: Abilities,
) -> Iterator[Complaint]:
    analyzer, bank = abilities.analyzer, abilities.analyzer.load_bank
    key = "loads_ohm" if isinstance(step, PowerCurveStep | HalfAndFullStep) else "load_ohm"
    for point in step.points():
        load_ohm, target = point.load_ohm, point.target
        yield from _load(key, load_ohm, analyzer)
        amps = target.value / 1000
        if target.quantity == "power_w":
            amps = (target.value / load_ohm) ** 0.5
        if amps**2 * load_ohm > bank.max_power_w and not isinstance(step, LeakageStep):
            yield key, _over_rating(amps**2 * load_ohm, analyzer)
        beyond = _beyond_meter(1000 * amps, abilities)
        if beyond is not None:
            yield key, f"{1000 * amps:.0f} mA at {load_ohm:g} ohm is over {beyond}"


def _full_current(
    step: MonotonicityStep | CrestFactorStep, abilities: Abilities
) -> Iterator[Complaint]:
    """What the setting may drive through the load, where no target says it."""
    mode = abilities.generator.mode(step.mode)
    current_ma = 1000 * (step.setting_w / step.load_ohm) ** 0.5
    if mode is not None and mode.max_current_ma is not None:
        current_ma = min(current_ma, mode.max_current_ma)
    beyond = _beyond_meter(current_ma, abilities)
    if beyond is not None:
        yield "load_ohm", f"{step.setting_w:g} W may drive {current_ma:.0f} mA there, over {beyond}"


def _beyond_meter(current_ma: float, abilities: Abilities) -> str | None:
    """What ends below `current_ma`: the meter's range, or what its certificate speaks of."""
    most_ma, certificate = abilities.analyzer.meter.max_current_ma, abilities.certificate
    if current_ma > most_ma:
        return f"the meter's {most_ma:g} mA"
    if certificate is not None and current_ma > certificate.current[-1].up_to_ma:
        return f"the {certificate.current[-1].up_to_ma:g} mA that the analyzer's certificate covers"
    return None


def _load(key: str, load_ohm: float, analyzer: AnalyzerData) -> Iterator[Complaint]:
    loads_ohm = analyzer.load_bank.loads_ohm
    if load_ohm not in loads_ohm:
        nearest = min(loads_ohm, key=lambda load: abs(load - load_ohm))
        yield key, f"the load bank has no {load_ohm:g} ohm; the nearest is {nearest:g} ohm"


def _over_rating(power_w: float, analyzer: AnalyzerData) -> str:
    return f"{power_w:g} W is over the load bank's rating of {analyzer.load_bank.max_power_w:g} W"


def _leakage(step: LeakageStep, analyzer: AnalyzerData) -> Iterator[Complaint]:
    if analyzer.leakage_load_ohm is None:
        yield "kind", "the analyzer has no HF leakage path"
    elif step.load_ohm != analyzer.leakage_load_ohm:
        yield "load_ohm", f"the leakage path measures in {analyzer.leakage_load_ohm:g} ohm"


def _service(
    procedure: Procedure, step: AdjustStep, generator: GeneratorData
) -> Iterator[Complaint]:
    if generator.service is None:
        yield "kind", f"{generator.model} has no service mode"
        return
    if generator.point(step.point) is None:
        names = ", ".join(point.name for point in generator.service.points)
        yield "point", f"{generator.model} has no adjustment point '{step.point}'; it has {names}"
    if procedure.timing(step).max_on_s > generator.service.timeout_s:
        timeout = f"the service mode's {generator.service.timeout_s:g} s"
        yield "max_on_s", f"the activation would outlast {timeout}"


def _contact_quality(step: ContactQualityStep, abilities: Abilities) -> Iterator[Complaint]:
    span = abilities.analyzer.contact_quality_ohm
    if span is None:
        yield "kind", "the analyzer cannot simulate a neutral electrode's contact"
    else:
        for key, value in (("from_ohm", step.from_ohm), ("to_ohm", step.to_ohm)):
            if not span[0] <= value <= span[1]:
                yield key, f"{value:g} ohm lies outside {span[0]:g} to {span[1]:g} ohm"
    if not abilities.generator.contact_quality_monitor:
        yield "kind", f"{abilities.generator.model} has no contact quality monitor"
