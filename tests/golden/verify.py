"""Checks a bundle of records with Python's own library alone: a second opinion on `verify`.

It is written from docs/bundles.md and shares no code with the program.
"""

import argparse
import base64
import functools
import hashlib
import json
import sys

FORM = "hankbook.bundle/1"
MOST_WHOLE = 2**53 - 1
HASHES_MAX = 64
SIGNATURES_MAX = 100

# Ed25519 (RFC 8032, section 5.1).
P = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
ROOT = pow(2, (P - 1) // 4, P)


class Wrong(Exception):
    """It has not the form."""


class Unsigned(Exception):
    """No signature by the key fits."""


def recover(data):
    """A point from its 32 bytes, or none."""
    number = int.from_bytes(data, "little")
    y, sign = number & ((1 << 255) - 1), number >> 255
    if y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * ROOT % P
    if (x * x - square) % P or (x == 0 and sign):
        return None
    if x & 1 != sign:
        x = P - x
    return (x, y, 1, x * y % P)


def add(one, other):
    a = (one[1] - one[0]) * (other[1] - other[0]) % P
    b = (one[1] + one[0]) * (other[1] + other[0]) % P
    c = 2 * one[3] * other[3] * D % P
    d = 2 * one[2] * other[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return (e * f % P, g * h % P, f * g % P, e * h % P)


def times(point, number):
    total = (0, 1, 1, 0)
    while number:
        if number & 1:
            total = add(total, point)
        point = add(point, point)
        number >>= 1
    return total


def is_same(one, other):
    return (one[0] * other[2] - other[0] * one[2]) % P == 0 and (
        one[1] * other[2] - other[1] * one[2]
    ) % P == 0


BASE = recover((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))


@functools.cache
def fits(public, message, signature):
    """Whether an Ed25519 signature is by the key."""
    if len(signature) != 64:
        return False
    key, point = recover(public), recover(signature[:32])
    scalar = int.from_bytes(signature[32:], "little")
    if key is None or point is None or scalar >= ORDER:
        return False
    hashed = hashlib.sha512(signature[:32] + public + message).digest()
    number = int.from_bytes(hashed, "little") % ORDER
    return is_same(times(BASE, scalar), add(point, times(key, number)))


def unbase64(text):
    """Bytes of base64 that is written in the one right way."""
    try:
        data = base64.b64decode(text, validate=True)
    except ValueError:
        raise Wrong from None
    if base64.b64encode(data).decode() != text:
        raise Wrong
    return data


def is_name(name):
    return name != "" and "+" not in name and not any(c.isspace() for c in name)


class Key:
    """A public key with its name (C2SP signed-note)."""

    def __init__(self, text):
        parts = text.split("+", 2)
        if len(parts) != 3 or not is_name(parts[0]):
            raise Wrong
        self.name, number, key = parts[0], parts[1], unbase64(parts[2])
        if len(key) != 33 or key[0] != 1:
            raise Wrong
        self.text, self.public = text, key[1:]
        self.id = hashlib.sha256(self.name.encode() + b"\n\x01" + self.public).digest()[:4]
        if number != self.id.hex():
            raise Wrong

    def open(self, note):
        """The text of a note that the key has signed."""
        end = note.rfind("\n\n")
        if end < 0 or not note.endswith("\n"):
            raise Wrong
        if any(ord(c) < 32 and c != "\n" or ord(c) == 127 for c in note):
            raise Wrong
        text, lines = note[: end + 1], note[end + 2 :].removesuffix("\n").split("\n")
        if len(note) == end + 2 or len(lines) > SIGNATURES_MAX:
            raise Wrong
        is_signed = False
        for line in lines:
            if not line.startswith("\u2014 ") or " " not in line[2:]:
                raise Wrong
            name, signature = line[2:].split(" ", 1)
            signature = unbase64(signature)
            if not is_name(name) or len(signature) <= 4:
                raise Wrong
            if name != self.name or signature[:4] != self.id:
                continue
            if not fits(self.public, text.encode(), signature[4:]):
                raise Unsigned
            is_signed = True
        if not is_signed:
            raise Unsigned
        return text


def checkpoint(note, key):
    """Size and root of a signed checkpoint."""
    lines = key.open(note).split("\n")
    if len(lines) != 4 or lines[3] != "" or lines[0] != key.name:
        raise Wrong
    size, root = lines[1], unbase64(lines[2])
    if not size.isascii() or not size.isdigit() or len(root) != 32:
        raise Wrong
    if str(int(size)) != size or int(size) >= 2**64:
        raise Wrong
    return int(size), root


def leaf(entry):
    return hashlib.sha256(b"\x00" + entry).digest()


def node(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def is_included(index, size, hashed, proof, root):
    """RFC 9162, section 2.1.3.2."""
    if index >= size:
        return False
    here, last = index, size - 1
    for other in proof:
        if last == 0:
            return False
        if here & 1 or here == last:
            hashed = node(other, hashed)
            while not here & 1 and here:
                here >>= 1
                last >>= 1
        else:
            hashed = node(hashed, other)
        here >>= 1
        last >>= 1
    return last == 0 and hashed == root


def is_whole(value):
    return type(value) is int and 0 <= value <= MOST_WHOLE


def line(data, kinds):
    """A line with just these members, written in canonical form; none for any other."""
    try:
        read = json.loads(data.decode())
        if type(read) is not dict or set(read) != set(kinds):
            return None
        text = json.dumps(read, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
        is_same = text.encode() == data
    except (ValueError, RecursionError):
        return None
    is_right = all(
        is_whole(read[name]) if kind is int else type(read[name]) is kind
        for name, kind in kinds.items()
    )
    return read if is_same and is_right else None


def head_of(data):
    kinds = {"about": str, "form": str, "origin": str, "records": list, "size": int}
    read = line(data, kinds)
    if read is None or read["form"] != FORM:
        return None
    for one in read["records"]:
        if type(one) is not list or len(one) != 2:
            return None
        if type(one[0]) is not str or not is_whole(one[1]):
            return None
    return read


def record_of(data):
    """The id, the position, the leaf's hash and the proof of a line."""
    read = line(data, {"entry": str, "position": int, "proof": str})
    if read is None:
        return None
    try:
        entry = json.loads(read["entry"])
        if type(entry) is not dict or type(entry.get("id")) is not str:
            return None
    except (ValueError, RecursionError):
        return None
    try:
        proof = unbase64(read["proof"])
        hashes = [proof[at : at + 32] for at in range(0, len(proof), 32)]
        if len(proof) % 32 or len(hashes) > HASHES_MAX:
            hashes = None
    except Wrong:
        hashes = None
    return entry["id"], read["position"], leaf(read["entry"].encode()), hashes


class Report:
    """What a check has found."""

    def __init__(self):
        self.findings, self.proved, self.records, self.key = set(), 0, 0, None

    def add(self, fault, what):
        self.findings.add((fault, what))


def believe(head_line, tail_line, pinned, report):
    """The checkpoint, the signed head, and whether the proofs are for that checkpoint."""
    head = head_of(head_line)
    if head is None:
        report.add("ALTERED", "head")
    tail = line(tail_line, {"checkpoint": str, "key": str, "manifest": str})
    if tail is None:
        report.add("ALTERED", "tail")
        return None, None, False
    try:
        printed = Key(tail["key"])
    except Wrong:
        printed = None
    if printed is None or (pinned is not None and pinned.text != printed.text):
        report.add("ALTERED", "key")
    key = pinned or printed
    if key is None:
        return None, None, False
    report.key = key.text
    signed = None
    try:
        signed = checkpoint(tail["checkpoint"], key)
    except Unsigned:
        report.add("UNSIGNED", "checkpoint")
    except Wrong:
        report.add("ALTERED", "checkpoint")
    is_fit = head is None or (signed is not None and head["size"] == signed[0])
    try:
        text = key.open(tail["manifest"])
    except Unsigned:
        report.add("UNSIGNED", "manifest")
        return signed, None, is_fit
    except Wrong:
        report.add("ALTERED", "manifest")
        return signed, None, is_fit
    wanted = base64.b64encode(hashlib.sha256(head_line).digest()).decode()
    if text != f"{FORM}\n{wanted}\n" or head is None or head["origin"] != key.name:
        report.add("ALTERED", "head")
        head = None
    elif signed is not None and not is_fit:
        report.add("ALTERED", "checkpoint")
    return signed, head, is_fit


def compare(listed, read, report):
    """Names what is not where the signed list says."""
    ids = [one[0] for one in listed]
    there = [one[0] if one is not None and one[0] in set(ids) else None for one in read]
    found, named = set(there) - {None}, set()
    for at, one in enumerate(there):
        if one is None:
            wanted = ids[at] if len(there) == len(ids) else None
            if wanted is None or wanted in found:
                wanted = f"line {at + 2}"
            named.add(wanted)
            report.add("ALTERED", wanted)
    for one in ids:
        if one not in found and one not in named:
            report.add("MISSING", one)
    wanted = iter([one for one in ids if one in found])
    for one in there:
        if one is not None and next(wanted, None) != one:
            report.add("REORDERED", one)


def verify(data, pinned):
    report = Report()
    lines = data.split(b"\n")
    if lines[-1] == b"":
        lines.pop()
    else:
        report.add("ALTERED", "end")
    if len(lines) < 2:
        report.add("MISSING", "bundle")
        return report
    signed, head, is_fit = believe(lines[0], lines[-1], pinned, report)
    read = [record_of(one) for one in lines[1:-1]]
    report.records = len(read)
    places = None
    if head is not None:
        compare(head["records"], read, report)
        places = {one[0]: one[1] for one in head["records"]}
    else:
        for at, one in enumerate(read):
            if one is None:
                report.add("ALTERED", f"line {at + 2}")
    for one in read:
        if one is None or (places is not None and one[0] not in places):
            continue
        name, position, hashed, proof = one
        is_proved = None
        if signed is not None and is_fit:
            is_proved = proof is not None and is_included(position, signed[0], hashed, proof, signed[1])
        if signed is not None and position >= signed[0]:
            report.add("UNSIGNED", name)
        elif is_proved is False or (places is not None and places[name] != position):
            report.add("ALTERED", name)
        elif is_proved:
            report.proved += 1
    return report


def show(report):
    order = ["ALTERED", "MISSING", "UNSIGNED", "REORDERED"]
    for fault, what in sorted(report.findings, key=lambda one: (order.index(one[0]), one[1])):
        print(fault, what)
    print(f"{report.proved} of {report.records} records are proved.")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", nargs="+")
    parser.add_argument("--key", type=Key)
    arguments = parser.parse_args()
    has_found = False
    for name in arguments.file:
        with open(name, "rb") as file:
            report = verify(file.read(), arguments.key)
        show(report)
        has_found = has_found or bool(report.findings)
    return 1 if has_found else 0


if __name__ == "__main__":
    sys.exit(main())
