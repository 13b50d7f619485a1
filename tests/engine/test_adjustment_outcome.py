"""The result of an adjusted point: time on of all its activations, and both ends of its trim."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from ohmwright.adjustment.actions import Finish
from ohmwright.engine.adjustment_outcome import PRESSES_NOT_SURE, AdjustmentOutcome

GIVEN_UP = Finish("not adjustable", "It stays low.", left="left at 9 counts")


def outcome(*, presses_are_sure: bool = True) -> tuple[AdjustmentOutcome, list[Any]]:
    """A point whose trim was moved from 4 to 9 counts in two activations, and what was kept."""
    kept = list[Any]()
    generator = SimpleNamespace(data=SimpleNamespace(point=lambda _: SimpleNamespace(mode="cut")))
    session: Any = SimpleNamespace(
        bench=SimpleNamespace(generator=generator),
        show_cue=kept.append,
        point_done=lambda *given: given,
    )
    step: Any = SimpleNamespace(name="adjust", kind="adjust")
    point: Any = SimpleNamespace(name="p", target=None, load_ohm=500.0)
    timing: Any = SimpleNamespace()
    actuator: Any = SimpleNamespace(trim=9, presses_are_sure=presses_are_sure)
    activations: Any = [SimpleNamespace(on_s=on_s, samples=()) for on_s in (3.0, 5.0)]
    return AdjustmentOutcome(session, step, point, timing, actuator, 4, activations), kept


def test_a_point_that_is_given_up_fails_only_where_its_presses_are_sure() -> None:
    sure, unsure = (
        outcome(presses_are_sure=is_sure)[0].observation_at(GIVEN_UP) for is_sure in (True, False)
    )
    assert (sure.verdict, sure.reason) == ("fail", "It stays low.; left at 9 counts")
    assert (unsure.verdict, unsure.reason) == ("undecided", f"{sure.reason}; {PRESSES_NOT_SURE}")
    open_end = outcome()[0].observation_at(Finish("undecided", "Its time is over."))
    assert (open_end.verdict, open_end.reason) == ("undecided", "Its time is over.")
    assert [one.on_s for one in (sure, unsure, open_end)] == [8.0] * 3


def test_a_result_has_both_ends_of_the_trim_and_whose_word_they_are() -> None:
    made, cues = outcome()
    assert made.trim_moved
    event: Any = made.done(made.observation_at(GIVEN_UP), "Ada Fell")
    result, path, mode = event
    assert (result.start_trim, result.final_trim, result.trim_told_by) == (4, 9, "Ada Fell")
    assert (path, mode, cues) == ("OUTPUT", "cut", [None])
    assert not replace(made, start=9).trim_moved
