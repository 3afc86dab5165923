#!/usr/bin/env python3
"""Checks PROTOCOL.md against the plain codec beside this file; `--write` puts the bytes of the examples in.

Each example states its message in words (`> 1 Hello major=1 ...`); the codec must make exactly the bytes that stand
below it, and read them back to the same fields. The tables of chapter 5 must be the codec's layouts.
"""

import ast
import pathlib
import re
import sys

import rig_link

DOCUMENT = pathlib.Path(__file__).resolve().parent.parent / "PROTOCOL.md"
WIDTH = 118
BLOCK = re.compile(r"^```(frame|session)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def hex_lines(label, data):
    """`label` and the bytes, wrapped; continuation lines are indented."""
    tokens, lines, line = data.hex(" ").upper().split(), [], label.ljust(6)
    for token in tokens:
        if len(line) + len(token) > WIDTH:
            lines.append(line.rstrip())
            line = " " * 6
        line += token + " "
    return [*lines, line.rstrip()]


def word_lines(arrow, sequence, name, words):
    """The message in words, wrapped; continuation lines are indented."""
    lines, line = [], f"{arrow} {sequence} {name}"
    for word in words:
        if len(line) + 1 + len(word) > WIDTH:
            lines.append(line)
            line = "   "
        line += " " + word
    return [*lines, line]


def frames_in(block):
    """Arrow, sequence, name, words, raw and wire of each frame of a block."""
    frames, part = [], "words"
    for line in block.splitlines():
        if line[:1] in "<>":
            arrow, sequence, name, *words = line.split()
            frames.append({"arrow": arrow, "sequence": int(sequence), "name": name, "words": words})
            part = "words"
            continue
        tokens = line.split()
        if tokens[0] in ("raw", "wire"):
            part = tokens.pop(0)
        frames[-1].setdefault(part, []).extend(tokens)
    return frames


def fields_in(words):
    """`field=value` words as a dictionary."""
    pairs = (word.split("=", 1) for word in words)
    return {field: ast.literal_eval(value) for field, value in pairs}


def write(text):
    """The document with the bytes of every example made anew."""

    def render(match):
        lines = []
        for frame in frames_in(match[2]):
            name, sequence, fields = frame["name"], frame["sequence"], fields_in(frame["words"])
            lines += word_lines(frame["arrow"], sequence, name, frame["words"])
            if match[1] == "frame":
                lines += hex_lines("raw", rig_link.raw_of(name, sequence, fields))
            lines += hex_lines("wire", rig_link.encode(name, sequence, fields))
        return "\n".join([f"```{match[1]}", *lines, "```"])

    return BLOCK.sub(render, text)


def check_frames(text):
    """Every example, in both directions; returns the names seen in `frame` blocks and the number of frames."""
    seen, count, crc = set(), 0, None
    for kind, block in BLOCK.findall(text):
        for frame in frames_in(block):
            name, sequence, fields = frame["name"], frame["sequence"], fields_in(frame["words"])
            where = f"{frame['arrow']} {sequence} {name}"
            assert (rig_link.KINDS[name] < 0x80) == (frame["arrow"] == ">"), f"{where}: wrong direction"
            raw, wire = rig_link.raw_of(name, sequence, fields), rig_link.encode(name, sequence, fields)
            assert bytes.fromhex("".join(frame["wire"])) == wire, f"{where}: wire is {wire.hex(' ')}"
            if kind == "frame":
                assert bytes.fromhex("".join(frame["raw"])) == raw, f"{where}: raw is {raw.hex(' ')}"
                seen.add(name)
            assert rig_link.split(b"\0" + wire) == [wire[:-1]], f"{where}: not split"
            back = rig_link.decode(wire[:-1], fields.get("widths"))
            assert back == (sequence, name, fields), f"{where}: reads back as {back}"
            if name == "Configured":
                crc = rig_link.crc32c(raw[4:44])
                assert fields["crc"] == crc, f"{where}: crc should be {crc:#010x}"
            count += 1
    return seen, count


def check_tables(text):
    """The tables of chapter 5 against the codec's layouts; returns the number of fields compared."""
    count = 0
    for kinds, section in re.findall(r"^### 5\.\d+ (.*?)\n(.*?)(?=^##)", text, re.MULTILINE | re.DOTALL):
        for name, code in re.findall(r"(\w+) \((0x[0-9A-F]{2})\)", kinds):
            assert rig_link.KINDS[name] == int(code, 16), f"{name} is not {code}"
            layout, offset = list(rig_link.MESSAGES[int(code, 16)][1]), 0
            rows = re.findall(r"^\| (\d+) \| (\S[^|]*) \| ([^|]+) \| (\w+) \|([^|]*)\|$", section, re.MULTILINE)
            for at, size, kind, field, meaning in rows:
                assert int(at) == offset, f"{name}.{field}: offset {at} should be {offset}"
                if kind == "Configure":
                    layout, offset = layout[13:], offset + 40
                    continue
                if field in ("values", "counts"):
                    continue  # the part of variable length, always last
                own_field, own_kind = layout.pop(0)
                stated = next((word for word in meaning.split() if word.rstrip(":;") == own_kind), "")
                kind = stated.rstrip(":;") if kind == "code" else kind.replace("[", "").replace("]", "")
                assert (field, kind) == (own_field, own_kind), f"{name}: {field} {kind} is {own_field} {own_kind}"
                assert int(size) == rig_link.size_of(own_kind), f"{name}.{field}: size {size}"
                offset, count = offset + int(size), count + 1
            assert not layout, f"{name}: fields without a row: {layout}"
            stated = re.search(r"\b(\d+)( \+ [^.;:]*)? bytes?\b", section)
            assert int(stated[1]) == offset, f"{name}: {stated[0]} stated, {offset} in the table"
    return count


def check_codes(text):
    """The tables of chapter 6 against the codec's enumerations."""
    sections = dict(re.findall(r"^### ([A-Z]\w+)\n(.*?)(?=^##)", text, re.MULTILINE | re.DOTALL))
    for name, allowed in rig_link.CODES.items():
        codes = [int(code) for code in re.findall(r"^\| (\d+) \| \w+ \|", sections[name], re.MULTILINE)]
        assert codes == list(allowed), f"{name}: codes {codes}"


def check_vectors(text):
    """The checksum's and the stuffing's published values, as printed in chapter 3."""
    ascending, descending = bytes(range(32)), bytes(reversed(range(32)))
    bodies = [b"", b"123456789", bytes(32), b"\xff" * 32, ascending, descending]
    printed = re.findall(r"^\| [^|]+ \| 0x([0-9A-F]{8}) \|$", text, re.MULTILINE)
    assert [f"{rig_link.crc32c(body):08X}" for body in bodies] == printed, printed
    run = bytes(range(1, 255))
    vectors = {"": "01", "00": "0101", "0000": "010101", "11220033": "0311220233", "11223344": "0511223344"}
    vectors |= {"11000000": "0211010101", run.hex(): "ff" + run.hex(), "00" + run.hex(): "01ff" + run.hex()}
    for body, stuffed in vectors.items():
        assert rig_link.stuff(bytes.fromhex(body)).hex() == stuffed, body
        assert rig_link.unstuff(bytes.fromhex(stuffed)).hex() == body, stuffed
    assert rig_link.unstuff(b"\xff" + run + b"\x01") == run
    for bad in ("", "00", "05313233", "053132333400", "0531320034"):
        try:
            rig_link.unstuff(bytes.fromhex(bad))
        except rig_link.Refused:
            continue
        raise AssertionError(f"{bad} was taken for COBS")


def check_damage():
    """No single flipped bit and no single lost byte of a frame yields a frame."""
    whole, damaged = rig_link.encode("Stop", 11, {"mode": 1, "reason": 1}), []
    for position in range(len(whole) - 1):
        damaged.append(whole[:position] + whole[position + 1 :])
        for bit in range(8):
            changed = bytearray(whole)
            changed[position] ^= 1 << bit
            damaged.append(bytes(changed))
    for stream in damaged:
        for candidate in rig_link.split(stream):
            try:
                rig_link.decode(candidate)
            except rig_link.Refused:
                continue
            raise AssertionError(f"{stream.hex(' ')} was taken for a frame")
    return len(damaged)


def main(arguments):
    if arguments == ["--write"]:
        DOCUMENT.write_text(write(DOCUMENT.read_text()))
    elif arguments:
        sys.exit("usage: check_examples.py [--write]")
    text = DOCUMENT.read_text()
    check_vectors(text)
    check_codes(text)
    fields = check_tables(text)
    seen, frames = check_frames(text)
    missing = set(rig_link.KINDS) - seen
    assert not missing, f"no example of {sorted(missing)}"
    damaged = check_damage()
    print(f"{frames} frames, {len(seen)} messages, {fields} fields and {damaged} damaged frames: as PROTOCOL.md says")


if __name__ == "__main__":
    main(sys.argv[1:])
