"""Small records kept in two files each, so that a power cut while one is written leaves the other.

A file is ``length u16, data, crc32 u32``. It is written whole under a temporary name, then renamed over the
old one; the second copy is only touched when the first is complete. Reading takes the first copy that is
whole. No hardware in here: only ``open`` and ``os``.
"""

import binascii
import os
import struct


class Slots:
    """Numbered records below a folder (created when missing)."""

    def __init__(self, folder):
        self._folder = folder
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there

    def _path(self, slot, copy):
        return self._folder + "/" + str(slot) + copy

    def load(self, slot):
        """The record's bytes; None when neither copy is whole."""
        for copy in ("a", "b"):
            data = _read(self._path(slot, copy))
            if data is not None:
                return data
        return None

    def store(self, slot, data):
        """Write both copies, first a, then b. OSError when the flash is full or broken."""
        for _ in self.storing(slot, data):
            pass

    def storing(self, slot, data):
        """Do the same in pieces, one with each ``next``; True comes when the record outlives the power."""
        record = struct.pack("<H", len(data)) + bytes(data)
        record += struct.pack("<I", binascii.crc32(record))
        data = None  # the record has it, and the next pieces need it no more
        spare = self._path(slot, "t")
        for copy in ("a", "b"):
            _write(spare, record)  # on its own: the next pieces need not keep the file's kilobyte of memory
            yield copy == "b"
            _replace(spare, self._path(slot, copy))
            yield True


def _replace(source, target):
    # MicroPython's rename replaces, as os.replace does on a desktop
    getattr(os, "replace", os.rename)(source, target)


def _write(path, record):
    with open(path, "wb") as file:
        file.write(record)


def _read(path):
    try:
        with open(path, "rb") as file:
            record = file.read()
    except OSError:
        return None
    if len(record) < 6:
        return None
    (length,) = struct.unpack("<H", record[:2])
    (crc,) = struct.unpack("<I", record[-4:])
    if length != len(record) - 6 or binascii.crc32(record[:-4]) != crc:
        return None
    return record[2:-4]
