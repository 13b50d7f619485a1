import pytest

from ohmwright.engine.reversals import Reversal, reversals


@pytest.mark.parametrize(
    ("outputs", "allowance", "expected"),
    [
        ([10, 20, 30, 40], 0.0, []),
        ([10, 20, 20, 40], 0.0, []),
        ([10, 30, 20, 40], 0.0, [Reversal(3, 2, 10)]),
        ([10, 30, 29, 40], 2.0, []),
        # A slow decline, each step of it within the allowance.
        ([30, 29, 28, 27], 1.5, [Reversal(3, 1, 2), Reversal(4, 1, 3)]),
    ],
)
def test_reversals(outputs: list[float], allowance: float, expected: list[Reversal]) -> None:
    assert list(reversals([1, 2, 3, 4], outputs, allowance)) == expected


def test_settings_may_be_swept_downwards() -> None:
    assert reversals([3, 2, 1], [30.0, 20.0, 10.0]) == ()


def test_a_setting_is_given_once() -> None:
    with pytest.raises(ValueError, match="once"):
        reversals([1, 1], [1.0, 2.0])
