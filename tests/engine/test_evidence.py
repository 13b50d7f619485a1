"""Nothing passes and nothing fails by readings that RF had no part in, or another setting had."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.engine.run_so_far import results
from ohmwright.engine.steps import step_kinds
from ohmwright.engine.steps.base import InstrumentStep
from ohmwright.instruments.doubt_requests import CORRECTED
from ohmwright.model.errors import OffNotProved
from ohmwright.model.event import ActivationClosed, Asked, ProtectionProved
from ohmwright.model.result import Result

pytestmark = pytest.mark.anyio
HEAD = """
title = "t"
revision = "1"
model = "Quillon 300"
[defaults]
max_on_s = 20
"""
STEPS = {
    "output": 'mode = "cut"\nsetting_w = 150\nload_ohm = 500\npower_w = 150\n'
    "tolerance = { percent = 20 }",
    "power_curve": 'mode = "coag"\nsetting_w = 105\nloads_ohm = [100, 500]\n'
    "power_w = [38.4, 104.9]\ntolerance = { percent = 20 }",
    "half_and_full": 'mode = "blend"\nsetting_w = 190\nloads_ohm = [100, 500]\n'
    "full_w = [57.8, 189.2]\nhalf_w = [57.6, 95.0]",
    "monotonicity": 'mode = "cut"\nload_ohm = 500\nsettings_w = [8, 60, 310]\n'
    "lowest_at_most_w = 10",
    "sweep": "modes = { cut = [150] }\nloads_ohm = [100, 500]",
    "warm_up": 'mode = "cut"\nsetting_w = 150\nload_ohm = 500\non_time_s = 30',
    "leakage": 'mode = "cut"\nsetting_w = 310\nlimit_ma = 150',
    "crest_factor": 'mode = "coag"\nsetting_w = 105\nload_ohm = 500\ncrest_factor = 5.24\n'
    "tolerance = { percent = 15 }",
    "contact_quality": "from_ohm = 40\nto_ohm = 240\nstep_ohm = 5\nalarm_above_ohm = 100\n"
    "alarm_below_ohm = 160",
    "adjust": 'point = "cut current"\nload_ohm = 100\ncurrent_ma = 900\n'
    "tolerance = { absolute_ma = 9 }\nmax_on_s = 40",
}


def test_every_kind_that_works_instruments_is_tried_here() -> None:
    kinds = step_kinds().items()
    assert {name for name, kind in kinds if issubclass(kind, InstrumentStep)} == set(STEPS)


PATH_OF = {"leakage": "LEAKAGE", "contact_quality": "CQUALITY"}
HINTS = {"contact_quality": "neutral electrode's lead"}


def one_cut_output(tmp_path: Path, point: str) -> Path:
    """Return the file of a procedure for the attended unit that measures `point` in cut."""
    path = tmp_path / "p.toml"
    step = f'\n[[step]]\nkind = "output"\nname = "it"\nmode = "cut"\n{point}'
    path.write_text(HEAD.replace("Quillon 300", "Marlow 150") + step, encoding="utf-8")
    return path


@pytest.fixture
def found(tmp_path: Path) -> Callable:
    """Events of a procedure of one step on a rig."""

    async def found(rig: object, kind: str) -> list:
        path = tmp_path / "p.toml"
        step = f'\n[[step]]\nkind = "{kind}"\nname = "it"\n{STEPS[kind]}\n'
        path.write_text(HEAD + step, encoding="utf-8")
        return await rig.run(path, ("adjust" if kind == "adjust" else "as_left",))

    return found


def spoil(rig: object, defect: str, kind: str) -> None:
    defects = rig.hardware.defects
    if defect == "path not joined":
        defects.disconnected_paths.add(PATH_OF.get(kind, "OUTPUT"))
    else:
        setattr(defects, defect, True)


@pytest.mark.parametrize("attended", [False, True], ids=["unattended", "attended"])
@pytest.mark.parametrize("defect", ["standby", "lead_off", "path not joined"])
@pytest.mark.parametrize("kind", STEPS)
async def test_where_nothing_came_through_nothing_is_said_of_the_unit(
    make_rig: Callable, found: Callable, kind: str, defect: str, attended: bool
) -> None:
    rig = make_rig(attended=attended)
    spoil(rig, defect, kind)
    done: list[Result] = list(results(await found(rig, kind)))
    assert done
    assert {result.verdict for result in done} == {"not measured"}
    hint = HINTS.get(kind, "output lead, standby, mode and setting")
    if (kind, defect) == ("leakage", "path not joined"):
        hint = "whether the leakage path is joined"
    assert all(hint in result.reason for result in done)
    assert all(result.measured is None for result in done)
    assert not rig.hardware.truth.rf_on


@pytest.mark.parametrize("kind", STEPS)
async def test_the_same_steps_have_verdicts_on_a_sound_bench(
    make_rig: Callable, found: Callable, kind: str
) -> None:
    done = list(results(await found(make_rig(), kind)))
    assert {result.verdict for result in done} <= {"pass", "fail", "undecided"}


async def test_that_a_unit_is_dead_is_a_persons_word(make_rig: Callable, found: Callable) -> None:
    rig = make_rig(attended=True)
    rig.hardware.defects.standby = True
    rig.bench.operator.finds = "dead"
    (result,) = results(await found(rig, "output"))
    assert result.verdict == "fail"
    assert "as told by simulated person" in result.reason
    assert result.measured is None


async def test_who_is_asked_about_no_output_sees_the_meters_figure(
    make_rig: Callable, found: Callable, in_ampere: Callable
) -> None:
    """In the wrong unit it is seen by it: 0.548 mA where 548 mA is due."""
    rig = make_rig(attended=True)
    in_ampere(rig.bench.analyzer)
    rig.bench.operator.finds = "dead"
    events = await found(rig, "output")
    (asked,) = (event.question for event in events if isinstance(event, Asked))
    (result,) = results(events)
    shown = re.search(r"\(the meter shows 0\.5\d\d? mA, up to 548 mA is due\)", asked)
    assert shown is not None
    assert "unit and scale of the reading" in asked
    assert (result.verdict, shown.group() in result.reason) == ("fail", True)


async def test_no_output_is_held_against_what_flowed_before(
    make_rig: Callable, tmp_path: Path
) -> None:
    """Also what is due is no more than the mode's limit: 900 mA, where P = I² R gives 1730 mA."""
    rig = make_rig(seed=5, age_months=30, bench="attended", attended=True)
    operator, defects = rig.bench.operator, rig.hardware.defects
    operator.misdials, operator.finds = 0.1, "dead"
    ask = operator.reply

    async def unplug(request: object, problem: str) -> str:
        defects.lead_off = defects.lead_off or "Does the panel say" in request.text
        return await ask(request, problem)

    operator.reply = unplug
    point = "setting_w = 150\nload_ohm = 50\npower_w = 40.5\ntolerance = { percent = 10 }\n"
    events = await rig.run(one_cut_output(tmp_path, point), ("as_left",))
    (result,) = results(events)
    seen = r"up to 900 mA is due; \d{3} mA flowed here in an activation before"
    assert re.search(seen, result.reason)
    assert any(re.search(seen, event.question) for event in events if isinstance(event, Asked))


async def test_who_is_asked_about_no_leakage_sees_the_meters_figure(
    make_rig: Callable, found: Callable
) -> None:
    rig = make_rig(attended=True)
    rig.hardware._rig.generator.leakage_ma = lambda: 0.0
    rig.bench.operator.finds = "joined"
    events = await found(rig, "leakage")
    (asked,) = (event.question for event in events if isinstance(event, Asked))
    (result,) = results(events)
    shown = re.search(r"\(the meter shows .* mA\)", asked)
    assert shown is not None
    assert "unit and scale of the reading" in asked
    assert (result.verdict, shown.group() in result.reason) == ("pass", True)
    assert result.conformity is None


async def test_what_was_mended_is_measured(make_rig: Callable, found: Callable) -> None:
    rig = make_rig(attended=True)
    rig.hardware.defects.lead_off = True
    ask = rig.bench.operator.reply

    async def plug_in(request: object, problem: str) -> str:
        if "output lead" in request.text:
            rig.hardware.defects.lead_off = False
            return "again"
        return await ask(request, problem)

    rig.bench.operator.reply = plug_in
    events = await found(rig, "output")
    (result,) = results(events)
    assert result.verdict == "pass"
    assert [e.answer for e in events if isinstance(e, Asked)] == ["again"]


@pytest.mark.parametrize("misdials", [0.4, 1.4])
async def test_a_setting_dialled_wrong_is_found_and_measured_once_more(
    make_rig: Callable, tmp_path: Path, misdials: float
) -> None:
    rig = make_rig(seed=5, age_months=30, bench="attended", attended=True)
    rig.bench.operator.misdials = misdials
    point = "setting_w = 100\nload_ohm = 500\npower_w = 100\n"
    point += "tolerance = { percent = 5, absolute_w = 8 }\n"
    events = await rig.run(one_cut_output(tmp_path, point), ("as_left",))
    (result,) = results(events)
    asked = [e for e in events if isinstance(e, Asked) and "Does the panel say" in e.question]
    assert [e.answer for e in asked] == ["corrected"]
    assert "cut, 100 W" in asked[0].question
    assert "are lead and load those that were asked for?" in asked[0].question
    assert "wrong before, too, go back" in CORRECTED.meaning  # an earlier point keeps its result
    assert abs(result.measured.value - 100) < 25
    # wrongly set, then right, and once more where that left the verdict undecided
    assert 2 <= len(rig.hardware.truth.rf_on_intervals) <= 3


async def test_what_nobody_can_tell_of_the_panel_is_no_fail(
    make_rig: Callable, tmp_path: Path
) -> None:
    rig = make_rig(seed=5, age_months=30, bench="attended", attended=True)
    rig.bench.operator.misdials = 0.4
    ask = rig.bench.operator.reply

    async def reply(request: object, problem: str) -> str:
        panel = "Does the panel say" in request.text
        return "unknown" if panel else await ask(request, problem)

    rig.bench.operator.reply = reply
    point = "setting_w = 100\nload_ohm = 500\npower_w = 100\ntolerance = { percent = 10 }\n"
    (result,) = results(await rig.run(one_cut_output(tmp_path, point), ("as_left",)))
    assert result.verdict == "not measured"
    assert "nobody could tell whether panel, lead and load are as asked for" in result.reason


async def test_far_too_much_ends_the_activation_within_a_reading(
    make_rig: Callable, tmp_path: Path
) -> None:
    rig = make_rig(seed=5, age_months=30, bench="attended", attended=True)
    rig.bench.operator.misdials = 7.5
    point = "setting_w = 20\nload_ohm = 500\npower_w = 20\ntolerance = { percent = 20 }\n"
    path = one_cut_output(tmp_path, point)
    events = await rig.run(path, ("as_left",))
    first, second = (e.on_s for e in events if isinstance(e, ActivationClosed))
    assert first < 4 < second
    asked = [e for e in events if isinstance(e, Asked) and "Does the panel say" in e.question]
    assert "at most 20 W was to flow" in asked[0].question
    (result,) = results(events)
    assert abs(result.measured.value - 20) < 5


async def test_off_is_proved_with_rf_before_anyone_leaves(
    make_rig: Callable, found: Callable
) -> None:
    events = await found(make_rig(), "output")
    assert [e.what for e in events if isinstance(e, ProtectionProved)] == [
        "OFF opens the output",
        "the limit sent with ON ends an activation",
    ]
    rig = make_rig()
    handle = rig.hardware.analyzer_port
    mistyped = {b"OUTPut:STATe OFF\n": b"OUTPut:STATe OF\n"}
    rig.bench.analyzer.dialogue.framing.link._handle = lambda line: handle(mistyped.get(line, line))
    with pytest.raises(OffNotProved, match="OFF DOES NOT SWITCH OFF"):
        await found(rig, "output")
