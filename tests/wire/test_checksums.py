"""Checksums against published check values and the standard library."""

import binascii
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.wire.checksums import CHECKSUMS, checksum, checksum_bytes

CHECK = b"123456789"
PUBLISHED = {
    # the check values of the CRC RevEng catalogue (reveng.sourceforge.io), from memory
    "crc8-smbus": 0xF4,
    "crc8-maxim": 0xA1,
    "crc16-arc": 0xBB3D,
    "crc16-modbus": 0x4B37,
    "crc16-ccitt-false": 0x29B1,
    "crc16-xmodem": 0x31C3,
    "crc16-kermit": 0x2189,
    "crc16-x25": 0x906E,
    "crc32": 0xCBF43926,
    # by hand: 49 + 50 + ... + 57 = 477 = 0x1DD; 0x100 - 0xDD; 49 ^ 50 ^ ... ^ 57
    "sum8": 0xDD,
    "sum16": 0x1DD,
    "sum8-twos-complement": 0x23,
    "xor8": 0x31,
}


@pytest.mark.parametrize("name", CHECKSUMS)
def test_check_values(name: str) -> None:
    assert checksum(name, CHECK) == PUBLISHED[name]


@given(st.binary(max_size=40))
def test_two_that_the_standard_library_has(data: bytes) -> None:
    assert checksum("crc32", data) == zlib.crc32(data)
    assert checksum("crc16-xmodem", data) == binascii.crc_hqx(data, 0)


@given(st.sampled_from(CHECKSUMS), st.binary(min_size=1, max_size=20), st.data())
def test_one_changed_bit_changes_it(name: str, data: bytes, draw: st.DataObject) -> None:
    at = draw.draw(st.integers(0, 8 * len(data) - 1))
    changed = bytearray(data)
    changed[at // 8] ^= 1 << at % 8
    assert checksum(name, bytes(changed)) != checksum(name, data)
    assert checksum(name, data) < 256 ** checksum_bytes(name)
