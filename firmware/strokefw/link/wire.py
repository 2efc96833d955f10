"""The link's frames and messages: the one definition, for the firmware and the host. No I/O here.

A frame is ``COBS(type u8, seq u8, body, crc32 u32) 00``, integers little endian, the CRC-32 (ISO-HDLC,
zlib's) over everything before it. A zero byte never occurs inside a frame, so a lone zero resynchronises
both ends. docs/protocol.md tells the story with examples.
"""

import binascii
import struct

from strokefw.compat import IS_MICROPYTHON, const
from strokefw.link import cobs

PROTOCOL = const(1)
HOST = const(0)  # direction: host to bench
BENCH = const(1)  # bench to host

MAX_BODY = const(560)
MAX_RAW = const(566)  # type, seq, body, crc
MAX_ENCODED = const(569)  # one code byte per started 254
_RESIDUE = const(0x2144DF1C)  # crc32 over data followed by its own crc32, little endian

SAMPLE = (
    "tick:I drive:h current_ma:i supply_mv:H output_a_mv:H output_b_mv:H sensor_a_mv:H sensor_b_mv:H "
    "heatsink_dc:h part_dc:h state:B fault:B"
)
SAMPLE_FORMAT = "<IhiHHHHHhhBB"
SAMPLE_BYTES = const(26)
ROWS_MAX = const(20)  # rows of one samples message
EVENT = "tick:I kind:B code:B index:H detail:i"
EVENT_FORMAT = "<IBBHi"
EVENT_BYTES = const(12)
EVENT_KIND_AT = const(4)  # its byte
BURST_COUNTS_MAX = const(240)  # counts of one burst_data message
RAW_COUNTS_MAX = const(328)  # readings of one raw_data message: its frame fills eight USB packets

_LIMITS = (
    "current_max_ma:I current_mean_ma:I supply_min_mv:H supply_max_mv:H slew_per_ms:H drive_min:h "
    "drive_max:h stall_ms:H stall_ma:I heartbeat_ms:H i2t_leads_a2s:I i2t_leads_rest_ma:I i2t_part_a2s:I "
    "i2t_part_rest_ma:I part_temp_max_dc:h flags:H"
)
_SEGMENT = (
    "index:H kind:B target:h duration_ms:I p1:i p2:i p3:i p4:i "
    "watch:B watch_action:B watch_value:i watch_after_ms:H watch_hold_ms:H"
)
_WELCOME = (
    "protocol:H table_hash:I version_major:B version_minor:B version_patch:B board_kind:B uid:8s "
    "calibration_id:I reset_cause:B tick_us:H state:B fault:B tick:I "
    "current_max_ma:I current_mean_ma:I "
    "supply_min_mv:H supply_max_mv:H slew_per_ms:H heatsink_max_dc:h segments_max:H ring_rows:H"
)
_STATUS = (
    "tick:I state:B fault:B drive:h gate:B rail:B current_ma:i supply_mv:H vin_mv:H feed_mv:H heatsink_dc:h "
    "part_dc:h junction_dc:h cap:h i2t_bench_permille:H i2t_leads_permille:H i2t_part_permille:H trips:I "
    "bad_frames:I lost_rows:I lost_events:I overruns:I tick_max_us:I tick_mean_us:H heap_free:I "
    "stack_max:H segment:H flags:H"
)

# id, name, direction, fields "name:struct code", what follows them ("" nothing, "bytes", or rows of fields)
MESSAGES = (
    (0x01, "hello", HOST, "protocol:H", ""),
    (0x02, "identity", HOST, "", ""),
    (0x03, "status", HOST, "", ""),
    (0x04, "heartbeat", HOST, "", ""),
    (0x05, "limits", HOST, _LIMITS, ""),
    (0x06, "arm", HOST, "", ""),
    (0x07, "disarm", HOST, "", ""),
    (0x08, "procedure_begin", HOST, "count:H", ""),
    (0x09, "segment", HOST, _SEGMENT, ""),
    (0x0A, "run", HOST, "", ""),
    (0x0B, "stop", HOST, "now:B", ""),
    (0x0C, "clear", HOST, "", ""),
    (0x0D, "jog", HOST, "target:h", ""),
    (0x0E, "stream", HOST, "always:B", ""),
    (0x0F, "selftest", HOST, "", ""),
    (0x10, "events", HOST, "", ""),
    (0x11, "calib_read", HOST, "", ""),
    (0x12, "calib_write", HOST, "", "bytes"),
    (0x13, "burst_read", HOST, "offset:H", ""),
    (0x14, "counts", HOST, "", ""),
    (0x15, "plant", HOST, "kind:B", ""),
    (0x16, "readings", HOST, "open:B ready:B tripped:B cut:H", "value:H"),
    (0x17, "plant_data", HOST, "", "bytes"),
    (0x18, "raw", HOST, "channel:B rate_hz:I", ""),
    (0x41, "welcome", BENCH, _WELCOME, ""),
    (0x42, "identity_text", BENCH, "", "bytes"),
    (0x43, "status_report", BENCH, _STATUS, ""),
    (0x45, "limits_in_force", BENCH, _LIMITS, ""),
    (0x4F, "selftest_report", BENCH, "code:B", "item:B code:B value:i"),
    (0x50, "event_log", BENCH, "", EVENT),
    (0x51, "calib_record", BENCH, "", "bytes"),
    (0x54, "counts_report", BENCH, "tick:I", "value:H"),
    (0x58, "raw_begun", BENCH, "rate_hz:I tick:I", ""),
    (0x60, "reply", BENCH, "result:B detail:i", ""),
    (0x61, "samples", BENCH, "first_seq:I count:B dropped:H", SAMPLE),
    (0x62, "event", BENCH, EVENT, ""),
    (0x63, "burst", BENCH, "index:H channel:B rate_hz:I count:H pre:H tick:I", ""),
    (0x64, "burst_data", BENCH, "offset:H", "value:H"),
    (0x65, "outputs", BENCH, "drive:h gate:B rail:B led:B fed:B trigger:B trip_ma:i", "leg:B side:B us:H"),
    (0x66, "plant_burst", BENCH, "channel:B rate_hz:I count:H pre:H", ""),
    (0x67, "plant_want", BENCH, "offset:H bytes:H", ""),
    (0x68, "raw_data", BENCH, "first:I lost:I", "bytes"),
)


def _canonical():
    lines = ["%d" % PROTOCOL]
    for message in MESSAGES:
        lines.append("%02x %s %d [%s] [%s]" % message)
    return "\n".join(lines)


def _pairs(fields):
    return [pair.split(":") for pair in fields.split()]


def field_names(fields):
    """Return the names in a field list such as ``SAMPLE``."""
    return tuple([name for name, _code in _pairs(fields)])


def field_format(fields):
    """Return the struct format (little endian, no padding) of a field list."""
    return "<" + "".join([code for _name, code in _pairs(fields)])


TABLE_HASH = binascii.crc32(_canonical().encode()) & 0xFFFFFFFF
ID = {}  # name -> id
NAME = {}  # id -> name
FORMAT = {}  # id -> struct format of the fields
TAIL = {}  # id -> struct format of one tail row, "" none, "bytes" free
for _id, _name, _direction, _fields, _tail in MESSAGES:
    ID[_name] = _id
    NAME[_id] = _name
    FORMAT[_id] = field_format(_fields)
    TAIL[_id] = _tail if _tail in ("", "bytes") else field_format(_tail)


# their seq is the bench's own number, else the request's
UNSOLICITED = tuple([ID[_name] for _name in ("samples", "event", "burst", "burst_data", "raw_data")])


class _Fields:
    # names are made when somebody asks: kept, they would take 8 kB of the chip's memory
    def __getitem__(self, kind):
        for message in MESSAGES:
            if message[0] == kind:
                return field_names(message[3])
        raise KeyError(kind)


FIELDS = _Fields() if IS_MICROPYTHON else {_row[0]: field_names(_row[3]) for _row in MESSAGES}  # id -> names


LIMIT_FIELDS = FIELDS[ID["limits"]]


class Limits:
    """Attributes named like the fields of the ``limits`` message; all 0 (nothing allowed) until set."""

    def __init__(self, values=None):
        for i, name in enumerate(LIMIT_FIELDS):
            setattr(self, name, values[i] if values else 0)

    def values(self):
        """Return the fields in the message's order."""
        return [getattr(self, name) for name in LIMIT_FIELDS]


class WireError(ValueError):
    """A body that does not fit its message."""


def pack(kind, *values, tail=b""):
    """Return the body of message ``kind`` (id) with its field values in order and ``tail`` bytes behind."""
    return struct.pack(FORMAT[kind], *values) + tail


def unpack(kind, body):
    """Return the field values of a body, then the tail's bytes if it has a tail; WireError if it misfits."""
    form = FORMAT.get(kind)
    if form is None:
        raise WireError("no message 0x%02x" % kind)
    size = struct.calcsize(form)
    tail = TAIL[kind]
    extra = len(body) - size
    if extra < 0 or (extra and not tail) or (extra and tail != "bytes" and extra % struct.calcsize(tail)):
        raise WireError("message 0x%02x with a body of %d bytes" % (kind, len(body)))
    values = struct.unpack_from(form, body, 0)
    return values + (body[size:],) if tail else values


def pack_row(kind, *values):
    """Return one tail row of message ``kind``."""
    return struct.pack(TAIL[kind], *values)


def close_frame(raw, n, out):
    """Append the CRC to ``raw[:n]`` (type, seq, body; 4 more fit), encode into ``out``; return its length."""
    struct.pack_into("<I", raw, n, binascii.crc32(memoryview(raw)[:n]) & 0xFFFFFFFF)
    length = cobs.encode_into(raw, n + 4, out)
    out[length] = 0
    return length + 1


def frame(kind, seq, body=b""):
    """Return a whole frame with its closing zero, as bytes."""
    n = len(body) + 2
    raw = bytearray(n + 4)
    raw[0] = kind
    raw[1] = seq
    raw[2:n] = body
    out = bytearray(n + n // 254 + 8)
    return bytes(out[: close_frame(raw, n, out)])


class Decoder:
    """Bytes in, whole checked frames out; ``bad_frames`` counts what was not one, ``frames`` what was."""

    def __init__(self):
        self._rest = b""
        self._overlong = False  # inside a frame too long to be one, until the next zero
        self.frames = 0
        self.bad_frames = 0

    def feed(self, data):
        """Return the list of (type, seq, body) that ``data`` completes; damaged frames are counted."""
        pieces = (self._rest + data).split(b"\0")
        self._rest = pieces.pop()
        found: list = []
        for piece in pieces:
            if self._overlong:
                self._overlong = False
            elif piece:
                self._take(piece, found)
        if len(self._rest) > MAX_ENCODED:
            if not self._overlong:
                self.bad_frames += 1
            self._overlong = True
            self._rest = b""
        return found

    def _take(self, piece, found):
        try:
            raw = cobs.decode(piece)
        except ValueError:
            self.bad_frames += 1
            return
        if not 6 <= len(raw) <= MAX_RAW or binascii.crc32(raw) != _RESIDUE:
            self.bad_frames += 1
            return
        self.frames += 1
        found.append((raw[0], raw[1], bytes(raw[2:-4])))
