"""How long RF may be on for one point."""

from ohmwright.adjustment.parameters import GivingUp
from ohmwright.adjustment.rf_budget import RfBudget

BOUNDS = GivingUp(
    most_rf_s=100.0, least_activation_s=12.0, timeout_margin_s=1.0, most_activations=5
)


def after(*on_s: float, timed_out: bool = False) -> RfBudget:
    budget = RfBudget(BOUNDS, 40.0)
    for each_s in on_s:
        budget.note_begun()
        budget.note_ended(each_s, each_s, timed_out=timed_out)
    return budget


def test_all_activations_together_count() -> None:
    budget = after(38.0, 38.0)
    assert not budget.must_end(23.0, 1.0, confirming=True)
    assert budget.must_end(25.0, 1.0, confirming=True)
    assert not budget.exhausted
    assert after(38.0, 38.0, 13.0).exhausted
    assert after(5.0, 5.0, 5.0, 5.0, 5.0).exhausted


def test_an_activation_that_adjusts_ends_before_the_service_mode_has_ended_by_itself() -> None:
    budget = after(20.0, timed_out=True)
    assert budget.must_end(19.5, 1.0, confirming=False)
    assert not budget.must_end(19.5, 1.0, confirming=True)
    assert budget.must_end(39.5, 1.0, confirming=True)
    assert budget.time_outs == 1


def test_the_shortest_time_after_which_the_service_mode_ended_counts() -> None:
    """Would notice the latest one taken instead, which may have been cut short less."""
    budget = after(20.0, 30.0, timed_out=True)
    assert not budget.must_end(18.5, 1.0, confirming=False)
    assert budget.must_end(19.5, 1.0, confirming=False)


def test_the_last_activation_is_short_and_none_follows() -> None:
    budget = after(10.0)
    budget.note_last_activation()
    assert not budget.must_end(11.0, 1.0, confirming=True)
    assert budget.must_end(12.5, 1.0, confirming=True)
    assert budget.exhausted
