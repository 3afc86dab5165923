#!/usr/bin/env python3
"""Verifies this folder: files, entries, their chain, and fits against their entries. Python 3.8 or later, no packages.

Usage: python3 verify.py [FOLDER [LINK]]; LINK is what the records' last entry should have, had from elsewhere.
"""
import hashlib
import json
import pathlib
import sys

folder = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parent
problems = []


def sha256(data):
    return hashlib.sha256(data).hexdigest()


# 1. Files.
for line in (folder / "SHA256SUMS").read_text(encoding="utf-8").splitlines():
    digest, name = line.split("  ", 1)
    path = folder / name
    if not path.is_file():
        problems.append(f"{name} is missing")
    elif sha256(path.read_bytes()) != digest:
        problems.append(f"{name} was changed")

# 2. The chain, from the link before this unit's first entry to the end.
chain = [line.split(" ") for line in (folder / "chain.txt").read_text(encoding="utf-8").splitlines()]
if len(chain) < 2 or chain[0][0] != "before" or chain[-1][0] != "end":
    sys.exit("chain.txt does not begin with before and end with end")
number, link = int(chain[0][1]), chain[0][2]
digests = {}
for seq, digest in chain[1:-1]:
    number += 1
    if int(seq) != number:
        problems.append(f"chain.txt: {seq} stands where {number} should")
    digests[int(seq)] = digest
    link = sha256(f"{link} {digest}\n".encode())
if [str(number), link] != chain[-1][1:]:
    problems.append(f"chain.txt leads to entry {number} with the link {link}, not to what stands behind end")
if len(sys.argv) > 2 and sys.argv[2] != link:
    problems.append(f"the records end with the link {link}, not {sys.argv[2]}")

# 3. The entries.
last = 0
entries = []
for line in (folder / "entries.jsonl").read_bytes().split(b"\n")[:-1]:
    entry = json.loads(line)
    seq = entry["seq"]
    entries.append(entry)
    if seq <= last:
        problems.append(f"entry {seq} stands behind entry {last}")
    last = seq
    if digests.get(seq) != sha256(line):
        problems.append(f"entry {seq} is not the one that the chain is of")

# 4. Fits: every value, uncertainty and refusal is that of an entry.
recordings = {e["seq"]: e["content"]["seal"] for e in entries if e["kind"] == "recording"}


def of_document(measurand):
    result = measurand["result"]
    if result["status"] == "estimate":
        return measurand["id"], result["value"], result["std_uncertainty"], None
    return measurand["id"], None, None, result["code"]


def of_entry(measured):
    return measured["id"], measured.get("value"), measured.get("u"), measured.get("refused")


fits = 0
for path in sorted(folder.glob("recordings/*/fit.json")):
    fits += 1
    document = json.loads(path.read_text(encoding="utf-8"))
    seal = document["recording"]["seal"]
    said = [of_document(m) for m in document["measurands"]]
    if recordings.get(int(path.parent.name)) != seal:
        problems.append(f"{path.relative_to(folder)} is of another recording than entry {path.parent.name}")
    same = [
        e["seq"]
        for e in entries
        if e["kind"] == "fit" and e["content"]["seal"] == seal and [of_entry(m) for m in e["content"]["measured"]] == said
    ]
    if not same:
        problems.append(f"{path.relative_to(folder)} does not say what any entry of that recording's fits says")

for problem in problems:
    print("NOT AS ENTERED:", problem)
if problems:
    sys.exit(1)
print(f"{len(entries)} entries, {fits} fits: as entered. The records end at entry {number} with the link {link}")
