"""Calibration: zero and gain trim of every channel, with an identity, kept in one checksummed record.

A reading becomes ``x = counts - zero``, then ``x += x * trim >> 15``: zero in counts (``MID_SCALE`` for the
current channels of an ideal bench, else 0), trim in 1/32768 of the reading. Products stay within 30 bits.
Behind the numbers a record may carry a note for people: who calibrated, against what.
"""

import binascii
import struct
from array import array

from strokefw import channels
from strokefw.compat import const

SLOT = const(0)  # the board's storage slot of the calibration
MAGIC = const(0x5343)
_HEAD = "<HHI"  # magic, number of channels, date (days since 2000-01-01; 0 = never calibrated)
RECORD_BYTES = const(64)  # head 8 + 13 * (zero int16, trim int16) + crc32; a note stands before the crc
NOTE_BYTES = const(96)  # who calibrated against what, UTF-8, at most
TRIM_MAX = const(6553)  # +-20 %: more is a wrong part fitted, not a tolerance
ZERO_MAX = const(6552)  # +-10 % of full scale away from the ideal zero
_CURRENT = (channels.I_COARSE, channels.I_FINE, channels.I_MAX, channels.I_MIN)


def ideal_zero(channel):
    """Return the zero in counts of a bench without any error."""
    return channels.MID_SCALE if channel in _CURRENT else 0


class Calibration:
    """``zero`` and ``trim`` in force: array('i') of N_CHANNELS. ``ident`` 0 means never calibrated."""

    def __init__(self):
        self.zero = array("i", [ideal_zero(channel) for channel in range(channels.N_CHANNELS)])
        self.trim = array("i", [0] * channels.N_CHANNELS)
        self.day = 0
        self.note = b""
        self.ident = 0  # the record's own CRC-32, so a changed calibration has another identity
        self.damaged = False

    def record(self):
        """Return the record of what is in force (``RECORD_BYTES`` and the note long)."""
        data = bytearray(RECORD_BYTES + len(self.note))
        struct.pack_into(_HEAD, data, 0, MAGIC, channels.N_CHANNELS, self.day)
        for channel in range(channels.N_CHANNELS):
            off_ideal = self.zero[channel] - ideal_zero(channel)
            struct.pack_into("<hh", data, 8 + 4 * channel, off_ideal, self.trim[channel])
        end = len(data) - 4
        data[RECORD_BYTES - 4 : end] = self.note
        struct.pack_into("<I", data, end, binascii.crc32(bytes(data[:end])))
        return bytes(data)

    def use(self, data):
        """Put a record in force; ValueError (and nothing changed) when it is damaged or out of reason."""
        zeros, trims, day, ident = parse(data)
        for channel in range(channels.N_CHANNELS):
            self.zero[channel] = ideal_zero(channel) + zeros[channel]
            self.trim[channel] = trims[channel]
        self.day = day
        self.note = bytes(data[RECORD_BYTES - 4 : -4])
        self.ident = ident
        self.damaged = False

    def load(self, board):
        """Take the board's stored record; a damaged one leaves the ideal in force and sets ``damaged``."""
        data = board.load(SLOT)
        if data is None or not len(data):
            return
        try:
            self.use(data)
        except ValueError:
            self.damaged = True


def parse(data):
    """Split a record into (zeros off the ideal, trims, day, identity); ValueError says what is wrong."""
    if not RECORD_BYTES <= len(data) <= RECORD_BYTES + NOTE_BYTES:
        raise ValueError("calibration record has the wrong length")
    magic, count, day = struct.unpack_from(_HEAD, data, 0)
    (crc,) = struct.unpack_from("<I", data, len(data) - 4)
    if magic != MAGIC or count != channels.N_CHANNELS or binascii.crc32(bytes(data[:-4])) != crc:
        raise ValueError("calibration record is damaged")
    bytes(data[RECORD_BYTES - 4 : -4]).decode()  # a note that is no text is a ValueError too
    values = struct.unpack_from("<" + "hh" * channels.N_CHANNELS, data, 8)
    zeros = [values[2 * channel] for channel in range(count)]
    trims = [values[2 * channel + 1] for channel in range(count)]
    if max(zeros) > ZERO_MAX or min(zeros) < -ZERO_MAX or max(trims) > TRIM_MAX or min(trims) < -TRIM_MAX:
        raise ValueError("calibration record holds a zero or gain beyond any tolerance")
    return zeros, trims, day, crc
