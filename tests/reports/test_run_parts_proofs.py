"""What was seen to protect in one part of a run is claimed for no other."""

from ohmwright.model.event import Event, ProtectionProved
from ohmwright.reports.run_parts import parts_of_run

from .test_run_parts import interrupted, later  # noqa: F401 - a fixture


def test_a_proof_is_of_its_own_part_alone(interrupted: tuple[Event, ...]) -> None:  # noqa: F811
    proved = ProtectionProved(**later(1), what="OFF opens the output", on_s=0.4)
    first, second = parts_of_run((interrupted[0], proved, *interrupted[1:]))
    assert first.proofs == ("OFF opens the output",)
    assert second.proofs == ()


def test_nor_is_one_of_a_later_part_claimed_for_an_earlier(
    interrupted: tuple[Event, ...],  # noqa: F811
) -> None:
    proved = ProtectionProved(**later(66), what="OFF opens the output", on_s=0.4)
    first, second = parts_of_run((*interrupted[:4], proved, *interrupted[4:]))
    assert first.proofs == ()
    assert second.proofs == ("OFF opens the output",)
