#!/usr/bin/env python3
"""Times the list, the search and the live check of formulas through REST on a fresh plant.

Usage: tests/bench/formulas.py PROGRAM [FORMULAS]. It prints a table and judges nothing: the figures
to reach are p95 under 100 ms for 500 formulas of 40 lines, and under 50 ms for a live check.
"""

import json
import os
import random
import subprocess
import sys
import tempfile
import time
import urllib.request
import uuid

PASSWORD = "oak smoke at dawn"
LINES = 40
TIMES = 200


def new_id():
    """A UUID of version 7."""
    now = int(time.time() * 1000)
    value = (now << 80) | (0x7 << 76) | (random.getrandbits(12) << 64)
    return str(uuid.UUID(int=value | (0b10 << 62) | random.getrandbits(62)))


class Client:
    def __init__(self, base):
        self.base, self.token = base, None

    def call(self, method, path, body=None, **headers):
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data, method=method)
        request.add_header("content-type", "application/json")
        if self.token:
            request.add_header("authorization", "Bearer " + self.token)
        for name, value in headers.items():
            request.add_header(name.replace("_", "-"), value)
        try:
            with urllib.request.urlopen(request) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            raise SystemExit(f"{method} {path}: {error.code} {error.read().decode()}") from error

    def post(self, path, body, **headers):
        return self.call("POST", path, body, **headers)

    def made(self, path, id_name, **body):
        return self.post(path, {"id": new_id(), **body})[id_name]

    def sign_in(self, name, password):
        body = {"signInName": name, "password": password}
        self.token = None
        session = self.post("/v1/sessions", body)
        self.token = session["accessToken"]
        if session.get("mustChangePassword"):
            self.post("/v1/people/me/password",
                      {"oldPassword": password, "newPassword": PASSWORD}, idempotency_key=new_id())
            self.sign_in(name, PASSWORD)


def start(program, folder):
    """The running program, its address and the one-time password."""
    house = subprocess.Popen([program, "serve", "--data-dir", folder + "/plant",
                              "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"],
                             stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    rest = password = None
    for line in house.stdout:
        words = line.split()
        rest = words[-1] if words and words[0] == "REST" else rest
        password = words[-1] if "with password" in line else password
        if "Ctrl-C" in line:
            return house, rest, password
    raise SystemExit("the house did not start")


def materials(client):
    ids = []
    for at in range(LINES):
        kind = "meat" if at == 0 else "other"
        material = client.made("/v1/materials", "material", name=f"Material {at}", kind=kind)
        content = {"fatPct": "1", "moisturePct": "60", "proteinPct": "16", "saltPct": "0",
                   "statement": f"entry {at}"}
        if at == 1:
            content["agents"] = [{"agent": "nitrite", "strengthPct": "6.25"}]
        client.made(f"/v1/materials/{material}/specifications", "specification",
                    content=content, inForceFrom="2026-01-01T00:00:00Z")
        ids.append(material)
    return ids


def content(at, product, label, ids):
    lines = [{"material": one, "pct": "0.2", "division": {"value": "1", "unit": "g"}}
             for one in ids]
    lines[0]["pct"] = "100"
    return {"name": f"Formula {at}", "product": product, "label": label,
            "block": {"value": "400", "unit": "[lb_av]"}, "expectedYieldPct": "85",
            "lines": lines}


def timed(what, call):
    taken = []
    for at in range(TIMES):
        began = time.perf_counter()
        call(at)
        taken.append((time.perf_counter() - began) * 1000)
    taken.sort()
    half, most = taken[len(taken) // 2], taken[int(len(taken) * 0.95)]
    print(f"| {what} | {half:.1f} | {most:.1f} | {taken[-1]:.1f} |", flush=True)


def main():
    program, count = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 500
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o755)
        house, rest, password = start(program, folder)
        try:
            measure(Client(rest), password, count)
        finally:
            house.terminate()
            house.wait()


def measure(client, password, count):
    client.sign_in("administrator", password)
    client.post("/v1/people", {"id": new_id(), "signInName": "d.okrent", "name": "Dana Okrent",
                               "roles": ["QA", "DEVELOPER", "MANAGER"],
                               "oneTimePassword": "one time only 1"})
    client.sign_in("d.okrent", "one time only 1")
    ids = materials(client)
    product = client.made("/v1/products", "product", name="No. 1 Rope",
                          productClass="comminuted", standardId="us.composition.cooked-sausage")
    statement = ", ".join(f"entry {at}" for at in range(LINES))
    label = client.made("/v1/labels", "label", item="No. 1 Rope", revision="1",
                        statement=statement, inForceFrom="2026-01-01T00:00:00Z")
    draft = None
    for at in range(count + 1):
        if at % 100 == 99:
            client.sign_in("d.okrent", PASSWORD)
        draft = new_id()
        client.call("PUT", f"/v1/formulas/{draft}/draft",
                    {"content": content(at, product, label, ids)}, if_none_match="*")
        if at == count:
            break
        ticket = client.post("/v1/signatures", {
            "password": PASSWORD, "method": "hankbook.v1.Formulas/ApproveFormula",
            "subject": f"formula:{draft}", "meaning": "I stand for it."})["ticket"]
        client.post(f"/v1/formulas/{draft}/approve",
                    {"id": new_id(), "draftVersion": 1, "acceptWarnings": True},
                    signature_ticket=ticket)
    print(f"{count} formulas of {LINES} lines; milliseconds\n\n| call | p50 | p95 | most |")
    print("|---|---|---|---|")
    timed("list of 100", lambda _: client.call("GET", "/v1/formulas"))
    timed("list of all", lambda _: client.call("GET", "/v1/formulas?pageSize=1000"))
    timed("search", lambda at: client.call("GET", f"/v1/formulas?search=formula%20{at}"))
    timed("live check of a draft", lambda _: client.call("GET", f"/v1/formulas/{draft}/draft"))


main()
