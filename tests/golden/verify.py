"""Checks a bundle of records with Python's own library alone: a second opinion on `verify`.

It is written from docs/bundles.md and shares no code with the program.
"""

import argparse
import base64
import bisect
import functools
import hashlib
import itertools
import json
import sys

FORM = "hankbook.bundle/2"
MOST_WHOLE = 2**53 - 1
RECORDS_MAX = 200_000
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


class Part:
    """A part of the tree that holds records: its sides, and the hashes that it may have."""

    def __init__(self, tree, start, end, positions, listed):
        if end - start == 1:
            self.sides, self.position = None, start
            self.listed = listed or tree.take("within")
            self.built, self.over = tree.records.get(start), None
            return
        half = 1
        while half * 2 < end - start:
            half *= 2
        middle = start + half
        cut = bisect.bisect_left(positions, middle)
        bounds = [(start, middle, positions[:cut]), (middle, end, positions[cut:])]
        if all(held for _, _, held in bounds):
            names = [tree.take("within"), tree.take("within")]
            sides = [Part(tree, *bound, name) for bound, name in zip(bounds, names)]
        else:
            other = tree.take("beside")
            sides = [Part(tree, *bound, None) if bound[2] else other for bound in bounds]
        self.sides, self.listed = sides, listed
        self.over = join([next(iter(choices(side)), None) for side in sides])
        self.built = join([side.built if isinstance(side, Part) else side for side in sides])


def choices(side):
    """The hashes that a side may have, the likeliest first."""
    hashes = [side.listed, side.over, side.built] if isinstance(side, Part) else [side]
    return [one for one in hashes if one is not None]


def join(hashes):
    return None if None in hashes else node(*hashes)


class Tree:
    """The leaves that lead from the root, as far as the bundle shows them."""

    def __init__(self, size, root, said, records):
        positions = [one for one in said["positions"] if one < size]
        self.records, self.leaves, self.is_right = records, {}, True
        self.lists = {"beside": iter(said["beside"]), "within": iter(said["within"])}
        if positions:
            self.descend(Part(self, 0, size, positions, None), root)
        self.is_right = self.is_right and self.take("within") is None

    def take(self, name):
        return next(self.lists[name], None)

    def descend(self, part, hashed):
        """Goes down from a part whose hash is certain."""
        if part.listed not in (None, hashed):
            self.is_right = False
        if part.sides is None:
            self.leaves[part.position] = hashed
            return
        for pair in itertools.product(*map(choices, part.sides)):
            if node(*pair) == hashed:
                for side, certain in zip(part.sides, pair):
                    if isinstance(side, Part):
                        self.descend(side, certain)
                return


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
    read = line(data, {"about": str, "form": str, "origin": str, "size": int})
    return read if read is not None and read["form"] == FORM else None


def pairs_of(pairs, kind):
    """Whether all are pairs of a text or a whole number, and a whole number."""
    return all(
        type(one) is list
        and len(one) == 2
        and (is_whole(one[0]) if kind is int else type(one[0]) is str)
        and is_whole(one[1])
        for one in pairs
    )


def list_of(data):
    """Pairs of an id and a position."""
    read = line(data, {"records": list})
    return read["records"] if read is not None and pairs_of(read["records"], str) else None


def hashes_of(text):
    """Hashes that stand one after the other."""
    try:
        data = unbase64(text)
    except Wrong:
        return None
    return None if len(data) % 32 else [data[at : at + 32] for at in range(0, len(data), 32)]


def beside_of(data):
    """Positions, and the hashes beside them."""
    read = line(data, {"beside": str, "runs": list})
    if read is None or not pairs_of(read["runs"], int):
        return None
    positions, end = [], -1
    for first, count in read["runs"]:
        if first <= end or count < 1 or len(positions) + count > RECORDS_MAX:
            return None
        end = first + count
        if end > MOST_WHOLE:
            return None
        positions.extend(range(first, end))
    hashes = hashes_of(read["beside"])
    return None if hashes is None else (positions, hashes)


def within_of(data):
    read = line(data, {"within": str})
    return None if read is None else hashes_of(read["within"])


def record_of(data):
    """The id, the position and the leaf's hash of a line."""
    read = line(data, {"entry": str, "position": int})
    if read is None:
        return None
    try:
        entry = json.loads(read["entry"])
        if type(entry) is not dict or type(entry.get("id")) is not str:
            return None
    except (ValueError, RecursionError):
        return None
    return entry["id"], read["position"], leaf(read["entry"].encode())


class Report:
    """What a check has found."""

    def __init__(self):
        self.findings, self.proved, self.records, self.key = set(), 0, 0, None

    def add(self, fault, what):
        self.findings.add((fault, what))


SIGNED = ["head", "list", "beside", "within"]


class Believed:
    """What the signatures let us believe."""

    def __init__(self, lines, tail_line, pinned, report):
        readers = [head_of, list_of, beside_of, within_of]
        read = [reader(one) for reader, one in zip(readers, lines)]
        for name, one in zip(SIGNED, read):
            if one is None:
                report.add("ALTERED", name)
        positions, beside = read[2] or ([], [])
        self.tree = {"positions": positions, "beside": beside, "within": read[3] or []}
        self.checkpoint, self.listed = None, None
        self.is_fit, self.is_beside_signed = False, False
        tail = line(tail_line, {"checkpoint": str, "key": str, "manifest": str})
        if tail is None:
            report.add("ALTERED", "tail")
            return
        key = self.key(tail, pinned, report)
        if key is None:
            return
        try:
            self.checkpoint = checkpoint(tail["checkpoint"], key)
        except Unsigned:
            report.add("UNSIGNED", "checkpoint")
        except Wrong:
            report.add("ALTERED", "checkpoint")
        head, size = read[0], self.checkpoint and self.checkpoint[0]
        self.is_fit = head is None or head["size"] == size
        try:
            text = key.open(tail["manifest"])
        except (Unsigned, Wrong) as error:
            report.add("UNSIGNED" if isinstance(error, Unsigned) else "ALTERED", "manifest")
            return
        self.trust(text, lines, read, key, report)

    def key(self, tail, pinned, report):
        try:
            printed = Key(tail["key"])
        except Wrong:
            printed = None
        if printed is None or (pinned is not None and pinned.text != printed.text):
            report.add("ALTERED", "key")
        key = pinned or printed
        report.key = key and key.text
        return key

    def trust(self, text, lines, read, key, report):
        """Takes for true what the manifest signs."""
        wanted = [base64.b64encode(hashlib.sha256(one).digest()).decode() for one in lines]
        said = text.split("\n")
        has_form = len(said) == 6 and said[0] == FORM and said[5] == ""
        signed = [has_form and said[at + 1] == one for at, one in enumerate(wanted)]
        signed[0] = signed[0] and read[0] is not None and read[0]["origin"] == key.name
        for name, is_signed in zip(SIGNED, signed):
            if not is_signed:
                report.add("ALTERED", name)
        self.listed = read[1] if signed[1] else None
        self.is_beside_signed = signed[2] and read[2] is not None
        if signed[0] and self.checkpoint is not None and not self.is_fit:
            report.add("ALTERED", "checkpoint")


def compare(listed, read, report):
    """Names what is not where the signed list says."""
    ids = [one[0] for one in listed]
    all_ids = set(ids)
    there = [one[0] if one is not None and one[0] in all_ids else None for one in read]
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
    if len(lines) < 5:
        report.add("MISSING", "bundle")
        return report
    believed = Believed([lines[0], *lines[-4:-1]], lines[-1], pinned, report)
    read = [record_of(one) for one in lines[1:-4]]
    report.records = len(read)
    places = None
    if believed.listed is not None:
        compare(believed.listed, read, report)
        places = {one[0]: one[1] for one in believed.listed}
    else:
        for at, one in enumerate(read):
            if one is None:
                report.add("ALTERED", f"line {at + 2}")
    known = [one for one in read if one is not None and (places is None or one[0] in places)]
    judge(known, places, believed, report)
    return report


def judge(known, places, believed, report):
    """Holds the records against the leaves that the root proves."""
    is_placed = {one: places is None or places[one[0]] == one[1] for one in known}
    leaves, size = None, believed.checkpoint and believed.checkpoint[0]
    if believed.checkpoint is not None and believed.is_fit:
        records = {}
        for one in known:
            if is_placed[one]:
                records[one[1]] = one[2]
        tree = Tree(*believed.checkpoint, believed.tree, records)
        leaves = tree.leaves
        if believed.is_beside_signed and not tree.is_right:
            report.add("ALTERED", "within")
    for one in known:
        name, position, hashed = one
        is_proved = None
        if leaves is not None and position in leaves:
            is_proved = leaves[position] == hashed
        elif leaves is not None and believed.is_beside_signed:
            is_proved = False
        if size is not None and position >= size:
            report.add("UNSIGNED", name)
        elif is_proved is False or not is_placed[one]:
            report.add("ALTERED", name)
        elif is_proved:
            report.proved += 1


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
