"""The form of a trouble code against scapy, a general-purpose packet library.

scapy.contrib.automotive.obd (PyPI) reads the two bytes of SAE J1979 answers by bit fields.
"""

import pytest
from scapy.contrib.automotive.obd.services import OBD_DTC

from jobs.intake.trouble_codes import from_bytes, parse


def by_scapy(first: int, second: int) -> str:
    packet = OBD_DTC(bytes((first, second)))
    letter = {"Powertrain": "P", "Chassis": "C", "Body": "B", "Network": "U"}[
        packet.sprintf("%location%")
    ]
    return f"{letter}{packet.code1:X}{packet.code2:X}{packet.code3:X}{packet.code4:X}"


@pytest.mark.parametrize("first", range(256))
def test_every_first_byte_agrees_with_scapy(first):
    for second in (0x00, 0x0A, 0xA1, 0xFF, first):
        code = from_bytes(first, second)
        assert code.code == by_scapy(first, second)
        assert parse(code.code).to_bytes() == bytes(OBD_DTC(bytes((first, second))))


@pytest.mark.parametrize("second", range(256))
def test_every_second_byte_agrees_with_scapy(second):
    assert from_bytes(0x96, second).code == by_scapy(0x96, second)


@pytest.mark.parametrize(
    ("first", "second", "code"),
    [
        # python-OBD, obd/decoders.py, comment of parse_dtc: bytes 41 23 are C0123.
        (0x41, 0x23, "C0123"),
        # Encyclopaedia article on OBD-II PIDs, worked answer "43 01 35": P0135.
        (0x01, 0x35, "P0135"),
        # Worked conversion published by a tester's notebook: 96A1 is B16A1.
        (0x96, 0xA1, "B16A1"),
    ],
)
def test_published_conversions(first, second, code):
    assert from_bytes(first, second).code == code
