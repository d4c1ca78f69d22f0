"""A gRPC client that knows the service by reflection alone, as an integrator's would.

It never imports anything of ours: every message is built from what the server describes. Input
and output are one JSON object each.
"""

import json
import os
import sys
import time

import grpc
from google.protobuf import any_pb2, descriptor_pb2, descriptor_pool, json_format
from google.protobuf.message_factory import GetMessageClass
from grpc_reflection.v1alpha.proto_reflection_descriptor_database import (
    ProtoReflectionDescriptorDatabase,
)

LIMIT_S = 20


def new_id():
    """A UUID of version 7 (RFC 9562, section 5.7)."""
    bits = (time.time_ns() // 1_000_000) << 80 | int.from_bytes(os.urandom(10), "big")
    bits = bits & ~(0xF << 76) & ~(0x3 << 62) | 0x7 << 76 | 0x2 << 62
    text = f"{bits:032x}"
    return "-".join([text[:8], text[8:12], text[12:16], text[16:20], text[20:]])


def status_class():
    """google.rpc.Status, which no package of ours brings along."""
    file = descriptor_pb2.FileDescriptorProto(
        name="status.proto", package="google.rpc", syntax="proto3",
        dependency=["google/protobuf/any.proto"],
    )
    message = file.message_type.add(name="Status")
    message.field.add(name="code", number=1, type=5, label=1)
    message.field.add(name="message", number=2, type=9, label=1)
    message.field.add(
        name="details", number=3, type=11, label=3, type_name=".google.protobuf.Any"
    )
    pool = descriptor_pool.DescriptorPool()
    any_file = descriptor_pb2.FileDescriptorProto()
    any_pb2.DESCRIPTOR.CopyToProto(any_file)
    pool.Add(any_file)
    pool.Add(file)
    return GetMessageClass(pool.FindMessageTypeByName("google.rpc.Status"))


class Refused(Exception):
    """What a call was refused with."""

    def __init__(self, error, reasons):
        super().__init__(error.details())
        self.code = error.code().name
        self.reasons = reasons


class Service:
    """The service behind one address, as its reflection describes it."""

    def __init__(self, address):
        self.channel = grpc.insecure_channel(address)
        self.reflected = ProtoReflectionDescriptorDatabase(self.channel)
        self.pool = descriptor_pool.DescriptorPool(self.reflected)
        self.status = status_class()

    def services(self):
        """The names of all services that it shows."""
        return sorted(self.reflected.get_services())

    def call(self, method, body, token=None, **headers):
        """Calls `Haccp/GetPlan` with an object; gives the answer as an object."""
        service, name = method.split("/")
        found = self.pool.FindServiceByName(f"hankbook.v1.{service}").FindMethodByName(name)
        message = json_format.ParseDict(body, GetMessageClass(found.input_type)())
        unary = self.channel.unary_unary(
            f"/{found.containing_service.full_name}/{name}",
            request_serializer=lambda sent: sent.SerializeToString(),
            response_deserializer=GetMessageClass(found.output_type).FromString,
        )
        metadata = [(name.replace("_", "-"), value) for name, value in headers.items()]
        if token:
            metadata.append(("authorization", f"Bearer {token}"))
        try:
            answer = unary(message, timeout=LIMIT_S, metadata=metadata)
        except grpc.RpcError as error:
            raise Refused(error, self.reasons(error)) from error
        return json_format.MessageToDict(answer)

    def reasons(self, error):
        """The reasons of a refusal, out of the standard details of a status."""
        trailers = {key: value for key, value in error.trailing_metadata() or ()}
        status = self.status.FromString(trailers.get("grpc-status-details-bin", b""))
        found = []
        for detail in status.details:
            if detail.type_url.endswith("/hankbook.v1.Refusal"):
                refusal = self.pool.FindMessageTypeByName("hankbook.v1.Refusal")
                refusal = GetMessageClass(refusal).FromString(detail.value)
                found += [reason.code for reason in refusal.reasons]
        return found

    def refusal(self, method, body, token=None, **headers):
        """The code and reasons with which a call is refused."""
        try:
            answer = self.call(method, body, token, **headers)
        except Refused as refused:
            return {"code": refused.code, "reasons": refused.reasons}
        return {"code": "OK", "answer": answer}


def eventually(look, is_there):
    """Looks until what the outbox brings is there."""
    until = time.monotonic() + LIMIT_S
    while True:
        seen = look()
        if is_there(seen) or time.monotonic() > until:
            return seen
        time.sleep(0.05)


def journey(service, given):
    """The key steps; gives what each answered."""
    seen = {"services": service.services()}
    sessions = {
        role: service.call("Identity/SignIn", {"signInName": name, "password": given["password"]})
        for role, name in given["people"].items()
    }
    qa, operator, manager = (
        sessions[role]["accessToken"] for role in ("qa", "operator", "manager")
    )

    def signed(method, subject, body):
        ticket = service.call("Identity/CreateSignature", {
            "password": given["password"], "method": f"hankbook.v1.{method}",
            "subject": subject, "meaning": "I stand for it.",
        }, qa)["ticket"]
        return service.call(method, body, qa, signature_ticket=ticket)

    plan = new_id()
    draft = {"plan": plan, "content": given["content"]}
    seen["draft_without_condition"] = service.refusal("Haccp/PutPlanDraft", draft, qa)
    draft = service.call("Haccp/PutPlanDraft", draft, qa, if_none_match="*")
    approval = {"id": new_id(), "plan": plan, "draftVersion": draft["version"]}
    seen["unsigned"] = service.refusal("Haccp/ApprovePlan", approval, qa)
    seen["plan"] = signed("Haccp/ApprovePlan", f"plan:{plan}", approval)

    supplier = service.call("Genealogy/PutPartner", {
        "id": new_id(), "name": "Hollis Meats", "isSupplier": True,
    }, manager)["partner"]
    place = service.call("Genealogy/PutPlace", {
        "id": new_id(), "name": "Dock 1", "kind": "receiving",
    }, manager)["place"]
    lot = service.call("Genealogy/ReceiveLot", {
        "id": new_id(), "material": "Pork trim 72/28", "supplier": supplier,
        "supplierLot": "H-4411", "mass": {"value": "500", "unit": "kg"}, "place": place,
        "plan": plan, "observedAt": given["at"],
    }, operator)
    seen["lot"] = lot

    def reading(value):
        return {
            "id": new_id(), "lots": [lot["lot"]], "plan": plan, "planVersion": 1,
            "check": "CCP-1", "readings": [value], "unit": "[degF]", "observedAt": given["at"],
        }

    body = reading("39.50")
    seen["nobody"] = service.refusal("Haccp/RecordReading", body)
    seen["wrong_role"] = service.refusal("Haccp/RecordReading", body, manager)
    seen["met"] = service.call("Haccp/RecordReading", body, operator)
    seen["met_again"] = service.call("Haccp/RecordReading", body, operator)
    seen["other_content"] = service.refusal(
        "Haccp/RecordReading", {**body, "readings": ["39.51"]}, operator)
    seen["failed"] = service.call("Haccp/RecordReading", reading("41"), operator)
    look = lambda: service.call("Genealogy/GetLot", {"lot": lot["lot"]}, operator)
    seen["held"] = eventually(look, lambda lot: len(lot.get("holds", [])) == 1)

    failed, deviation = seen["failed"]["reading"], seen["failed"]["deviation"]
    seen["amended"] = signed("Haccp/AmendReading", f"reading:{failed}", {
        "id": new_id(), "reading": failed, "readings": ["39"], "unit": "[degF]",
        "observedAt": given["at"], "reason": "Misread.",
    })
    seen["shown"] = service.call("Haccp/GetReading", {"reading": failed}, operator)
    closing = {
        "id": new_id(), "deviation": deviation, "cause": "An open door, now shut.",
        "control": "Three readings were met.", "prevention": "An alarm on the door.",
        "disposition": "destroy", "dispositionText": "Support on file.",
    }
    try:
        signed("Haccp/CloseDeviation", f"deviation:{deviation}", closing)
    except Refused as refused:
        seen["wrong_disposition"] = {"code": refused.code, "reasons": refused.reasons}
    closing["disposition"] = "release_with_support"
    seen["closed"] = signed("Haccp/CloseDeviation", f"deviation:{deviation}", closing)
    seen["free"] = eventually(look, lambda lot: not lot.get("holds"))
    return seen


def calls(service, given):
    """Each of these calls by one of these people; gives what each answered."""
    tokens = {
        name: service.call("Identity/SignIn", {
            "signInName": name, "password": given["password"],
        })["accessToken"]
        for name in {call["who"] for call in given["calls"]}
    }
    return [
        service.refusal(call["method"], call["body"], tokens[call["who"]])
        for call in given["calls"]
    ]


def main():
    given = json.load(sys.stdin)
    work = calls if "calls" in given else journey
    print(json.dumps(work(Service(given["address"]), given)))


if __name__ == "__main__":
    main()
