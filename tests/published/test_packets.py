"""Packets for signals, against what was found of NMRA S-9.2.1 (shared notes on sources, 3.1).

[V]: the layout `10AAAAAA 0AAA0AA1 000XXXXX EEEEEEEE`, quoted in three public files; 0 is absolute
stop; the error byte is the exclusive-or of the others; broadcast is `10111111 00000111`. [C]: the
example 0x81, 0x71, 0x00 -> 0xF0. From memory: how addresses counted from 1 lie in the bits.
"""

from functools import reduce
from operator import xor

import pytest

from verifier.plan.signals.packet_model import FIRST_ADDRESS, LAST_ADDRESS, LAST_NUMBER, packet


def test_s_9_2_1_C_the_example() -> None:
    assert packet(1, 0) == (0x81, 0x71, 0x00, 0xF0)


@pytest.mark.parametrize("number", [0, 1, 17, LAST_NUMBER])
def test_s_9_2_1_V_layout_and_error_byte_of_every_address(number: int) -> None:
    seen = set()
    for address in range(FIRST_ADDRESS, LAST_ADDRESS + 1):
        sent = packet(address, number)
        first, second, third, check = (f"{byte:08b}" for byte in sent)
        assert first.startswith("10") and second[0] == "0" and second[4] == "0"
        assert second[7] == "1" and third.startswith("000")
        assert int(check, 2) == reduce(xor, sent[:3])
        # Read back: the three high bits are turned round.
        high = "".join("10"[int(bit)] for bit in second[1:4])
        assert int(high + first[2:] + second[5:7], 2) == address + 3
        assert sent[:2] != (0b10111111, 0b00000111), "broadcast is nobody's address"
        seen.add(sent[:2])
    assert len(seen) == LAST_ADDRESS
