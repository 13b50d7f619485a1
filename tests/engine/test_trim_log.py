"""What a check of an adjusted point has seen is said with each cause that it may have."""

import pytest

from ohmwright.engine.trim_log import WARMED, TrimLog
from ohmwright.model.hardware import DroopData, GeneratorData, Mode, ServiceMode, ServicePoint
from ohmwright.model.result import Measured, Result
from ohmwright.model.tolerance import Target

STATED = DroopData(largest=0.02, tau_s=(20, 60), recovery_tau_s=(60, 180))


def unit(droop: DroopData | None) -> GeneratorData:
    return GeneratorData(
        maker="Sorrelworks",
        model="Marlow 150",
        modes=(Mode(name="cut", kind="cut", max_setting_w=150, rated_load_ohm=300),),
        service=ServiceMode(points=tuple(ServicePoint(name=n, mode="cut") for n in ("P1", "P2"))),
        droop=droop,
    )


def adjusted(point: str, value_ma: float, *, again: bool = False) -> Result:
    return Result(
        stage="adjust",
        step=f"adjust-{point}",
        point=point,
        kind="adjust",
        verdict="pass",
        target=Target(quantity="current_ma", value=400, lower=396, upper=404),
        measured=Measured(value=value_ma, uncertainty=0.5, dof=50, age_s=6),
        start_trim=0,
        final_trim=4,
        again="checked" if again else None,
    )


@pytest.mark.parametrize(
    ("droop", "now_ma", "may_be_warmth"),
    [(None, 390.0, True), (None, 410.0, False), (STATED, 390.0, False)],
    ids=["a loss", "a gain", "droop stated"],
)
def test_a_loss_of_a_unit_whose_droop_nobody_states_may_be_warmth(
    droop: DroopData | None, now_ma: float, may_be_warmth: bool
) -> None:
    log = TrimLog(unit(droop), [adjusted("P1", 400.0), adjusted("P2", 400.0)])
    note = log.shift_note(adjusted("P1", now_ma, again=True))
    assert "mA since the trim of P2 was moved" in note
    assert (WARMED in note) == may_be_warmth
