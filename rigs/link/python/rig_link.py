"""A plain peer codec of the rig link, written from PROTOCOL.md alone.

It shares nothing with the Rust crate, so that each can check the other: the checksum goes bit by bit, the stuffing
byte by byte, as chapter 3 spells them out. Needs the standard library only. Not fast, and not meant to be.
"""

import math
import struct

VERSION = 1
HEADER, CHECKSUM, MAX_PAYLOAD = 4, 4, 496
MAX_RAW = HEADER + MAX_PAYLOAD + CHECKSUM
MAX_STUFFED = 506
FULL_SCALE_COUNTS, MAX_SETPOINTS, MAX_CHANNELS = 32767, 64, 16


class Refused(ValueError):
    """Bytes that are not a frame, or a payload that is not a message."""


def crc32c(data):
    """CRC-32C, one bit at a time (chapter 3)."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0x82F63B78 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def stuff(body):
    """COBS in the three steps of chapter 3."""
    out, place, count = bytearray([0]), 0, 1
    for position, byte in enumerate(body):
        if byte:
            out.append(byte)
            count += 1
        if byte == 0 or (count == 255 and position + 1 < len(body)):
            out[place] = count
            place, count = len(out), 1
            out.append(0)
    out[place] = count
    return bytes(out)


def unstuff(stuffed):
    """Takes the stuffing out; Refused when the bytes are not COBS."""
    if not stuffed or 0 in stuffed:
        raise Refused("empty, or a zero between delimiters")
    out, position = bytearray(), 0
    while position < len(stuffed):
        code = stuffed[position]
        group = stuffed[position + 1 : position + code]
        if len(group) != code - 1:
            raise Refused("group cut short")
        out += group
        position += code
        if position < len(stuffed) and code < 255:
            out.append(0)
    return bytes(out)


# Enumerations: name and the codes it allows (chapter 6).
CODES = {
    "RigState": range(0, 5),
    "TripCause": range(0, 11),
    "StopMode": range(0, 2),
    "StopReason": range(0, 5),
    "WindowReference": range(0, 2),
    "ChannelKind": range(0, 8),
    "Unit": range(0, 7),
    "Width": (2, 4),
    "EventCode": range(0, 12),
    "RefusalCode": range(1, 13),
}

_SCALARS = {"u8": "B", "u16": "H", "u32": "I", "u64": "Q", "i16": "h", "i32": "i", "f64": "d", "bool": "?"}

_CONFIGURE = [
    ("sample_period_us", "u32"),
    ("torque_limit_raw", "u16"),
    ("slew_limit_raw_per_ms", "u16"),
    ("rim_speed_limit_mrad_s", "u32"),
    ("window_low_urad", "i32"),
    ("window_high_urad", "i32"),
    ("window_reference", "WindowReference"),
    ("sensor_torque_limit_mnm", "u32"),
    ("temperature_limit_cdeg", "i16"),
    ("watchdog_us", "u32"),
    ("setpoint_expiry_us", "u32"),
    ("stop_mode", "StopMode"),
    ("brake_us", "u32"),
]

# Kind: name and fields (chapter 5). Setpoints and Samples end in a part of variable length, dealt with below.
MESSAGES = {
    0x01: ("Hello", [("major", "u8"), ("minor", "u8"), ("nonce", "u32")]),
    0x02: ("DescribeChannel", [("index", "u8")]),
    0x03: ("Configure", _CONFIGURE),
    0x04: ("StartSampling", []),
    0x05: ("StopSampling", []),
    0x06: ("ArmRequest", [("configuration_crc", "u32")]),
    0x07: ("ArmConfirm", [("challenge", "u32"), ("configuration_crc", "u32")]),
    0x08: ("KeepAlive", [("host_ns", "u64")]),
    0x09: ("Setpoints", [("first_tick", "u64"), ("period_us", "u32"), ("ends", "bool"), ("count", "u8")]),
    0x0A: ("Stop", [("mode", "StopMode"), ("reason", "StopReason")]),
    0x0B: ("ClearTrip", [("trips", "u32")]),
    0x0C: ("StatusRequest", []),
    0x81: (
        "Identity",
        [("major", "u8"), ("minor", "u8"), ("nonce", "u32"), ("boot_id", "u32"), ("tick", "u64")]
        + [("capabilities", "u16"), ("channels", "u8"), ("queue_capacity", "u16")]
        + [("min_sample_period_us", "u32"), ("full_scale_nm", "f64")]
        + [("model", "text24"), ("serial", "text16"), ("firmware", "text16")],
    ),
    0x82: (
        "Channel",
        [("index", "u8"), ("kind", "ChannelKind"), ("width", "Width"), ("unit", "Unit"), ("scale", "f64")]
        + [("offset", "f64"), ("raw_min", "i32"), ("raw_max", "i32"), ("group_delay_ns", "u32")]
        + [("name", "text16")],
    ),
    0x83: ("Configured", [*_CONFIGURE, ("crc", "u32")]),
    0x84: ("ArmChallenge", [("challenge", "u32"), ("valid_us", "u32")]),
    0x85: (
        "Status",
        [("tick", "u64"), ("state", "RigState"), ("trip", "TripCause"), ("sampling", "bool")]
        + [("emergency_stop_closed", "bool"), ("credit", "u16"), ("trips", "u32"), ("underruns", "u32")]
        + [("late_setpoints", "u32"), ("expired", "u32"), ("bad_frames", "u32"), ("lost_batches", "u32")]
        + [("armed_angle_urad", "i32")],
    ),
    0x86: (
        "Samples",
        [("first_tick", "u64"), ("period_us", "u32"), ("state", "RigState"), ("credit", "u16")]
        + [("row_bytes", "u8"), ("rows", "u8")],
    ),
    0x87: ("Echo", [("host_ns", "u64"), ("received_tick", "u64"), ("sent_tick", "u64")]),
    0x88: ("Event", [("tick", "u64"), ("number", "u32"), ("code", "EventCode"), ("detail", "i32")]),
    0x89: ("Refused", [("kind", "u8"), ("sequence", "u16"), ("code", "RefusalCode"), ("detail", "i32")]),
    0x8A: ("Stopped", [("tick", "u64"), ("mode", "StopMode"), ("state", "RigState")]),
}
KINDS = {name: kind for kind, (name, _) in MESSAGES.items()}


def size_of(kind):
    """Bytes of a field of this type."""
    if kind.startswith("text"):
        return int(kind[4:])
    return 1 if kind in CODES else struct.calcsize("<" + _SCALARS[kind])


def _put(kind, value):
    if kind.startswith("text"):
        text = value.encode()
        if len(text) > size_of(kind) or 0 in text:
            raise Refused(f"text {value!r} does not fit {kind}")
        return text.ljust(size_of(kind), b"\0")
    if kind in CODES:
        if value not in CODES[kind]:
            raise Refused(f"{value} is no {kind}")
        return bytes([value])
    if kind == "bool" and value not in (0, 1):
        raise Refused(f"{value} is no bool")
    return struct.pack("<" + _SCALARS[kind], value)


def _take(kind, data):
    if kind.startswith("text"):
        text = data.rstrip(b"\0")
        if 0 in text:
            raise Refused("a zero inside a text")
        return text.decode()
    if kind in CODES:
        if data[0] not in CODES[kind]:
            raise Refused(f"{data[0]} is no {kind}")
        return data[0]
    if kind == "bool":
        if data[0] > 1:
            raise Refused(f"{data[0]} is no bool")
        return data[0]
    return struct.unpack("<" + _SCALARS[kind], data)[0]


def _check_ranges(name, fields):
    """The ranges marked in chapter 5 that make a payload malformed."""
    good = True
    if name == "Setpoints":
        good = 1 <= fields["count"] <= MAX_SETPOINTS and (fields["count"] == 1 or fields["period_us"] > 0)
    elif name == "Samples":
        rows = fields["rows"]
        good = rows > 0 and fields["row_bytes"] > 0 and (rows == 1 or fields["period_us"] > 0)
    elif name == "Identity":
        good = 1 <= fields["channels"] <= MAX_CHANNELS and 0 < fields["full_scale_nm"] < math.inf
    elif name == "Channel":
        reach = 2 ** (8 * fields["width"] - 1)
        good = fields["index"] < MAX_CHANNELS and math.isfinite(fields["scale"]) and fields["scale"] != 0
        good = good and math.isfinite(fields["offset"])
        good = good and -reach <= fields["raw_min"] < fields["raw_max"] < reach
    if not good:
        raise Refused(f"{name}: a value out of its range in {fields}")


def payload_of(name, fields):
    """The payload of a message; Samples take `widths` and `counts` instead of `row_bytes` and `rows`."""
    fields, tail = dict(fields), b""
    if name == "Setpoints":
        values = fields.pop("values")
        fields["count"] = len(values)
        tail = struct.pack(f"<{len(values)}h", *values)
    elif name == "Samples":
        widths, counts = fields.pop("widths"), fields.pop("counts")
        fields["row_bytes"], fields["rows"] = sum(widths), len(counts)
        row = "<" + "".join({2: "h", 4: "i"}[width] for width in widths)
        tail = b"".join(struct.pack(row, *one) for one in counts)
    _check_ranges(name, fields)
    layout = MESSAGES[KINDS[name]][1]
    if set(fields) != {field for field, _ in layout}:
        raise Refused(f"{name}: fields {sorted(fields)} are not those of the message")
    return b"".join(_put(kind, fields[field]) for field, kind in layout) + tail


def fields_of(kind, payload, widths=None):
    """Name and fields of a payload; `widths` of the channels are needed to read a Samples message's rows."""
    if kind not in MESSAGES:
        raise Refused(f"unknown kind {kind:#04x}")
    name, layout = MESSAGES[kind]
    fields, position = {}, 0
    for field, field_kind in layout:
        data = payload[position : position + size_of(field_kind)]
        if len(data) != size_of(field_kind):
            raise Refused(f"{name}: payload too short")
        fields[field] = _take(field_kind, data)
        position += len(data)
    _check_ranges(name, fields)
    tail = payload[position:]
    if name == "Setpoints":
        count = fields.pop("count")
        if len(tail) != 2 * count:
            raise Refused("Setpoints: values do not fit the count")
        fields["values"] = list(struct.unpack(f"<{count}h", tail))
    elif name == "Samples":
        row_bytes, rows = fields.pop("row_bytes"), fields.pop("rows")
        if len(tail) != rows * row_bytes or (widths is not None and sum(widths) != row_bytes):
            raise Refused("Samples: rows do not fit")
        if widths is not None:
            row = "<" + "".join({2: "h", 4: "i"}[width] for width in widths)
            fields["widths"], fields["counts"] = list(widths), [list(r) for r in struct.iter_unpack(row, tail)]
    elif tail:
        raise Refused(f"{name}: payload too long")
    return name, fields


def raw_of(name, sequence, fields):
    """Header, payload and checksum, before stuffing."""
    body = struct.pack("<BBH", VERSION, KINDS[name], sequence) + payload_of(name, fields)
    if len(body) > HEADER + MAX_PAYLOAD:
        raise Refused("payload too long")
    return body + struct.pack("<I", crc32c(body))


def encode(name, sequence, fields):
    """A whole frame, closing delimiter included."""
    return stuff(raw_of(name, sequence, fields)) + b"\0"


def decode(stuffed, widths=None):
    """Sequence, name and fields of the bytes between two delimiters."""
    raw = unstuff(stuffed)
    if not HEADER + CHECKSUM <= len(raw) <= MAX_RAW:
        raise Refused(f"{len(raw)} bytes are no frame")
    if crc32c(raw[:-CHECKSUM]) != struct.unpack("<I", raw[-CHECKSUM:])[0]:
        raise Refused("checksum")
    version, kind, sequence = struct.unpack("<BBH", raw[:HEADER])
    if version != VERSION:
        raise Refused(f"version {version}")
    return (sequence, *fields_of(kind, raw[HEADER:-CHECKSUM], widths))


def split(stream):
    """The candidates of a byte stream: what stands between delimiters, empty and overlong ones left out."""
    return [part for part in bytes(stream).split(b"\0")[:-1] if 0 < len(part) <= MAX_STUFFED]
