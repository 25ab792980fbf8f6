"""CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF, nothing reflected; 123456789 gives 0x29B1)."""

import binascii

import numpy as np
import numpy.typing as npt

_START = 0xFFFF


def crc16(data: bytes) -> int:
    """Return the CRC-16/IBM-3740 of ``data``."""
    return binascii.crc_hqx(data, _START)


_TABLE = np.array([binascii.crc_hqx(bytes([byte]), 0) for byte in range(256)], dtype=np.uint16)


def crc16_of_slices(
    data: npt.NDArray[np.uint8], begins: npt.NDArray[np.int64], ends: npt.NDArray[np.int64]
) -> npt.NDArray[np.uint16]:
    """Return the CRC-16/IBM-3740 of each of n slices of ``data``, column by column."""
    crc = np.full(len(begins), _START, dtype=np.uint16)
    lengths = ends - begins
    shortest, longest = (int(lengths.min()), int(lengths.max())) if len(begins) else (0, 0)
    for place in range(shortest):
        crc = (crc << 8) ^ _TABLE[(crc >> 8) ^ data[begins + place]]
    for place in range(shortest, longest):
        more = lengths > place
        old = crc[more]
        crc[more] = (old << 8) ^ _TABLE[(old >> 8) ^ data[begins[more] + place]]
    return crc
