"""No stuck bit leaves both nonces alone."""

from random import Random

import pytest

from ohmwright.wire.nonces import nonce_pair


@pytest.mark.parametrize("bit", [1, 2, 4, 8])
@pytest.mark.parametrize("high", [True, False])
def test_a_stuck_bit_shows(bit: int, high: bool) -> None:
    draws = Random(1)
    for _ in range(200):
        sent = "".join(map(str, nonce_pair(draws)))
        came = [ord(c) | bit if high else ord(c) & ~bit for c in sent]
        assert came != [ord(c) for c in sent]
