"""The only way to switch RF on: a block that is always left with RF read back as off."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.generator import Generator
from ohmwright.instruments.operator import StopRun
from ohmwright.instruments.plausible_current import due_current_ma
from ohmwright.instruments.requests import NOT_YET, LetRfComeOnAgain
from ohmwright.model.errors import (
    ActivationVoid,
    ExcessiveOutput,
    FootSwitchLetGo,
    InstrumentRefused,
    LinkError,
    LoadNotConnected,
    OffNotProved,
    OutOfCapability,
    SettingNotTaken,
)
from ohmwright.wire.verified_dialogue import same_number

from .release import ConfirmedRelease, confirmed_release, meter_shows_s
from .unasked_rf import refuse_unasked_output

_EXCESS_RATIO = 1.5
"""Power over the power asked for that no drift explains: another mode or setting is chosen."""
_EXCESS_ALLOWED_W = 3.0
"""Power above the power asked for that is always allowed, for small settings."""
_OVERLOAD_RATIO = 1.1
"""Power over the load bank's rating that ends an activation at one reading."""
_LATE_S = 0.3
"""What the instrument's clock and the computer's sleeps may be off by within an activation."""
_LIMIT_REACHED_S = 0.1
"""Time left of the limit below which it is the limit that has ended the activation."""


class Activation:
    """An open activation: its age, the time left of its limit, and the most power that may flow."""

    def __init__(self, bench: Bench, *, load_ohm: float, power_w: float, limit_s: float) -> None:
        self._analyzer, self._clock, self._load_ohm = bench.analyzer, bench.clock, load_ohm
        self._rf, self._proves_off = bench.rf, bench.rf.proves_off
        read_back = bench.analyzer.protections.load_read_back
        self._load_word = "the analyzer says is in" if read_back else "was asked for"
        sent_s = bench.analyzer.sent_limit_s(limit_s)
        self.limit_s = limit_s if sent_s is None else sent_s
        """Longest duration in seconds; the analyzer ends it then, where ON carries a limit."""
        self._asked_w, self._rated_w = power_w, bench.analyzer.data.load_bank.max_power_w
        self._started_s = bench.clock.now_s()
        self.largest_power_w: float | None = None
        """Largest power read in the load so far; None before the first reading."""
        self.current_seen = False
        """Whether a current above the meter's zero was read."""
        self.told_in = bench.analyzer.told_in
        """What holds the analyzer's bytes of OFF, in words, for whoever has to correct them."""
        self._zero_limit_ma = bench.rf.zero_limit_ma
        self.meter_shows_s = meter_shows_s(bench)
        """Longest time after OFF for which a meter may show a current that has gone."""
        self.limit_came_first = False
        """Whether it was so old when OFF was sent that the limit may have ended it before."""
        self.release: ConfirmedRelease | None = None
        """How RF was released; None before that."""

    @property
    def age_s(self) -> float:
        """Seconds since ON was sent, or a person keyed the output: RF is on no longer than that."""
        return self._clock.now_s() - self._started_s

    @property
    def began_s(self) -> float:
        """Time of the bench's clock, in s, at which its age was 0."""
        return self._started_s

    @property
    def left_s(self) -> float:
        """Seconds until the limit ends the activation, at least 0."""
        return max(0.0, self.limit_s - self.age_s)

    @property
    def earliest_end_s(self) -> float:
        """Age at which the limit may end it, by an instrument's clock that is a little fast."""
        return self.limit_s - _LATE_S

    @property
    def ends_by_hand(self) -> bool:
        """Whether a person keeps RF on, and nothing else ends it."""
        return self._analyzer.keyed_by_foot

    @property
    def may_have_ended(self) -> bool:
        """Whether it is so old that the limit may have ended it."""
        return self.age_s >= self.earliest_end_s

    def note_current(self, current_ma: float) -> None:
        """Take a reading: keep the largest power so far, P = I² R, and whether any current flowed.

        Raises ExcessiveOutput when it is far more than was asked for or than the load may bear, and
        FootSwitchLetGo when a current that a person keeps on has gone.
        """
        power_w = (current_ma / 1000) ** 2 * self._load_ohm
        self.largest_power_w = max(self.largest_power_w or 0.0, power_w)
        if current_ma <= self._zero_limit_ma:
            self.refuse_let_go()
        self.current_seen = self.current_seen or current_ma > self._zero_limit_ma
        if not self._proves_off:
            self._rf.note_current(current_ma, due_current_ma(self._asked_w, self._load_ohm))
        allowed_w = max(_EXCESS_RATIO * self._asked_w, self._asked_w + _EXCESS_ALLOWED_W)
        if power_w > min(allowed_w, _OVERLOAD_RATIO * self._rated_w):
            raise ExcessiveOutput(
                f"{current_ma:.0f} mA read make {power_w:.0f} W by the {self._load_ohm:g} ohm "
                f"that {self._load_word} (another load, another power), where at most "
                f"{min(self._asked_w, self._rated_w):g} W was to flow.",
                "RF was switched off at that reading; no value was taken.",
                "Mode or setting on the panel? Look at both, and at the load, before going on.",
            )

    def refuse_let_go(self) -> None:
        """Raise FootSwitchLetGo where a person keeps RF on, and a current it had is gone.

        For callers who have just seen that none flows.
        """
        if self.ends_by_hand and self.current_seen:
            raise FootSwitchLetGo(
                f"The current had gone when the activation was {self.age_s:.1f} s old.",
                "The foot switch was let go before it was time; no value was taken.",
                "Hold it until you are told to release it.",
            )

    def start_counting(self, sent_s: float) -> None:
        """Count the age since RF is on as the analyzer knows it, else since `sent_s`."""
        on_since_s = self._analyzer.on_since_s
        self._started_s = sent_s if on_since_s is None else on_since_s


@asynccontextmanager
async def activation(
    bench: Bench, *, load_ohm: float, power_w: float, limit_s: float
) -> AsyncIterator[Activation]:
    """Switch RF on for the length of the block, never longer than `limit_s`.

    `power_w`: the most that the setting can put into the load. Raises OutOfCapability before
    anything is switched on, UnaskedOutput when RF was on before it was asked for, LoadNotConnected
    when the analyzer does not take the load, ReleaseNotConfirmed when the output could not be read
    back as off, OffNotProved when only the limit may have ended it, or a line failed, OFF came late
    and nobody is there, and ActivationVoid when another load is connected, or another mode or
    setting chosen, at its end.
    """
    refuse_overload(bench.analyzer, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s)
    await refuse_unasked_output(bench)
    await _connect(bench.analyzer, load_ohm)
    opened = Activation(bench, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s)
    failed = ""
    try:
        await bench.analyzer.begin_watch()
        bench.rf.set_unknown()
        sent_s = bench.clock.now_s()
        await bench.analyzer.switch_on(limit_s)
        opened.start_counting(sent_s)
        yield opened
    except LinkError as problem:
        failed = problem.happened
        raise
    finally:
        opened.limit_came_first = opened.may_have_ended
        release = await confirmed_release(bench, current_seen=opened.current_seen)
        _refuse_end_by_limit(opened, release)
        opened.release = release
        if failed:  # a script may begin again by itself after a failure of a line
            _refuse_late_off(bench, failed)
    await _refuse_changed_load(bench.analyzer, load_ohm)
    await _refuse_changed_setting(bench.generator)


async def _connect(analyzer: Analyzer, load_ohm: float) -> None:
    """Connect a load. Raises LoadNotConnected where it is refused or another one reads back."""
    try:
        with suppress(InstrumentRefused):  # what was refused may have been damaged on its way
            await analyzer.set_load(load_ohm)
            return
        await analyzer.set_load(load_ohm)
    except (InstrumentRefused, SettingNotTaken) as problem:
        raise LoadNotConnected(load_ohm, problem) from problem


async def _refuse_changed_load(analyzer: Analyzer, load_ohm: float) -> None:
    """Raise ActivationVoid where another load reads back now than the one that was connected.

    What is no load of its bank is none at all: an analyzer may disconnect its load with OFF.
    """
    other_ohm = await analyzer.other_load_ohm(load_ohm)
    if other_ohm is None:
        return
    if not any(same_number(other_ohm, ohm) for ohm in analyzer.data.load_bank.loads_ohm):
        return
    raise ActivationVoid(
        f"The load was changed: {other_ohm:g} ohm reads back after an activation that began "
        f"with {load_ohm:g} ohm.",
        "Nobody knows into which load its readings were taken; they are not used.",
        "A key of the analyzer, another connection, a restart? Let none of them happen while the "
        "program works it, then resume the run.",
    )


async def _refuse_changed_setting(generator: Generator) -> None:
    """Raise ActivationVoid where mode or setting read back otherwise than they were chosen."""
    changed = await generator.setting_changed()
    if changed:
        raise ActivationVoid(
            f"The generator was set otherwise: after the activation {changed}.",
            "Nobody knows at which setting its readings were taken; they are not used.",
            "A key of the generator, a restart? Let neither happen while the program works it, "
            "then resume the run.",
        )


async def refuse_unless_all_clear(bench: Bench) -> None:
    """Have a person say, after a warning that RF may be on, that it may come on again.

    Nothing is asked where nobody was warned, or a person keys the output. Raises StopRun where it
    may not come on, and OffNotProved where nobody is there to say so.
    """
    _refuse_late_off(bench)
    is_off = bench.rf.off_after_warning
    if not is_off:
        return
    if await bench.operator.carry_out(LetRfComeOnAgain(is_off)) == NOT_YET:
        raise StopRun
    bench.rf.off_after_warning = ""


def _refuse_late_off(bench: Bench, failed: str = "") -> None:
    """Raise OffNotProved where a warning was given that RF may be on, and nobody is there.

    `failed`: what happened to a line meanwhile; empty where nothing did.
    """
    is_off = bench.rf.off_after_warning
    if not is_off or bench.operator.present:
        return
    raise OffNotProved(
        f"OFF CAME LATE: {is_off}, and a warning to use the generator's mains switch was "
        f"given before that.{f' {failed}' * bool(failed)}",
        "RF does not come on again before a person says that all are clear of the generator. "
        "Nobody is there to say so.",
        "See that they are, find out why OFF came late, then begin again.",
    )


def refuse_overload(analyzer: Analyzer, *, load_ohm: float, power_w: float, limit_s: float) -> None:
    """Raise OutOfCapability unless load, power and time lie inside the analyzer's rating."""
    bank, keying = analyzer.data.load_bank, analyzer.data.activation
    problem = None
    if load_ohm not in bank.loads_ohm:
        problem = f"the load bank has no {load_ohm:g} ohm"
    elif power_w > bank.max_power_w:
        problem = f"{power_w:g} W is more than the load bank's {bank.max_power_w:g} W"
    elif limit_s > bank.max_on_s:
        problem = f"{limit_s:g} s is longer than the load bank's {bank.max_on_s:g} s"
    elif keying.max_limit_s is not None and limit_s > keying.max_limit_s:
        problem = f"{limit_s:g} s is more than the ON command can carry"
    if problem is not None:
        raise OutOfCapability(
            f"Activation refused: {problem}.",
            "RF stayed off.",
            "Correct the procedure or use another analyzer.",
        )


def _refuse_end_by_limit(opened: Activation, release: ConfirmedRelease) -> None:
    """Raise OffNotProved where OFF may have changed nothing and the limit ended the activation.

    A meter's tail that outlasts the limit is no sign of that, nor is one of an activation that the
    limit had ended before OFF.
    """
    # a person's foot switch is ended by no limit
    if opened.ends_by_hand or opened.left_s >= _LIMIT_REACHED_S:
        return
    if release.stayed_closed:
        raise OffNotProved(
            "OFF DOES NOT SWITCH OFF: the output stayed on after OFF and went off only at the "
            f"limit of {opened.limit_s:g} s sent with ON.",
            "It reads off now. Nothing but that limit would end the next activation.",
            f"{_check_off(opened)}.",
        )
    is_no_sign = release.is_tail or opened.limit_came_first
    if release.last_on_s > opened.meter_shows_s and not is_no_sign:
        raise OffNotProved(
            "OFF MAY NOT SWITCH OFF: with the keying output open a current was read until "
            f"{release.last_on_s:.1f} s after OFF, and meanwhile the limit of {opened.limit_s:g} s "
            "sent with ON ran out.",
            "It reads off now. Perhaps nothing but that limit ended it.",
            f"{_check_off(opened)} and its meter ('window_s' and 'zero_ma' in its data).",
        )


def _check_off(opened: Activation) -> str:
    return (
        f"Do not go on with this bench: check 'off' in {opened.told_in} against its manual, "
        "then the analyzer"
    )
