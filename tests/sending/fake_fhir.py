"""As much of a FHIR server as the client's own tests need; what a real one does is proven on a real one."""

from __future__ import annotations

import itertools
import json
import threading
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any
from urllib.parse import parse_qs, unquote

from loopback import Reply, Request

from lda_notes.fhir.elements import to_json
from lda_notes.fhir.identity import EMITTED
from lda_notes.fhir.tokens import read_token

Json = dict[str, Any]


class FakeFhir:
    """Keeps resources in memory. ``fault`` sees each request before it is done and may answer in its place;
    ``after`` sees it once it is done, with the answer, and may replace that. Patients, staff, stays and organizations
    that a transaction refers to by condition are known to it. ``includes``: how many resources one search includes at
    most."""

    def __init__(self) -> None:
        self.resources: dict[str, Json] = {}
        self.versions: set[tuple[str, str]] = set()
        self.fault: Callable[[Request], Reply | None] = lambda request: None
        self.after: Callable[[Request, Reply], Reply] = lambda request, reply: reply
        self.transactions = 0
        self.writes = 0
        self.version = "4.0.1"
        self.kinds = sorted(EMITTED)
        self.conditional = True
        self.shows_resources = True
        self.includes: int | None = None
        self._numbers = itertools.count(1)
        self._lock = threading.Lock()

    def __call__(self, request: Request) -> Reply:
        reply = self.fault(request)
        if reply is not None:
            return reply
        with self._lock:
            done = self._do(request)
        return self.after(request, done)

    def _do(self, request: Request) -> Reply:
        path = request.path.partition("?")[0].removeprefix("/fhir").strip("/")
        if path == "metadata":
            return _json(self._capability())
        if request.method == "POST" and path == "":
            return self._transaction(json.loads(request.body, parse_float=Decimal))
        if request.method == "POST" and path.endswith("/_search"):
            kind = path.partition("/")[0]
            asked = parse_qs(request.body.decode())
            if "_revinclude:iterate" in asked:
                return self._everything(asked["identifier"][0])
            if "patient.identifier" in asked:
                [patient] = self._matching("Patient", "identifier", asked["patient.identifier"][0])
                return self._of_patient(kind, f"Patient/{patient['id']}")
            query = {name: values[0] for name, values in parse_qs(request.body.decode()).items()}
            query.pop("_count", None)
            if "patient" in query:
                return self._of_patient(kind, query["patient"])
            [(parameter, tokens)] = query.items()
            found = [one for token in tokens.split(",") for one in self._matching(kind, parameter, token)]
            return _json({"resourceType": "Bundle", "type": "searchset", "entry": [{"resource": one} for one in found]})
        found_one = self.resources.get(path)
        return _json(found_one) if found_one else outcome(404, "not known")

    def _everything(self, patient: str) -> Reply:
        """All of a patient, the only one here, until what may be included is used up."""
        found = self._matching("Patient", "identifier", patient)
        included = [one for one in self.resources.values() if one not in found][: self.includes] if found else []
        entry = [{"resource": one} for one in (*found, *included)]
        return _json({"resourceType": "Bundle", "type": "searchset", "entry": entry})

    def _of_patient(self, kind: str, patient: str) -> Reply:
        """Everything of a type that is about a patient, with the Provenances of it."""
        found = {
            key: one
            for key, one in self.resources.items()
            if one["resourceType"] == kind
            and patient in (one.get(name, {}).get("reference") for name in ("subject", "patient", "for"))
        }
        marks = [
            one
            for one in self.resources.values()
            if one["resourceType"] == "Provenance" and any(each["reference"] in found for each in one["target"])
        ]
        entry = [{"resource": one} for one in (*found.values(), *marks)]
        return _json({"resourceType": "Bundle", "type": "searchset", "entry": entry})

    def _capability(self) -> Json:
        listed = [
            {"type": kind, "conditionalCreate": self.conditional, "conditionalUpdate": self.conditional}
            for kind in self.kinds
        ]
        rest = {"mode": "server", "interaction": [{"code": "transaction"}], "resource": listed}
        return {"resourceType": "CapabilityStatement", "fhirVersion": self.version, "rest": [rest]}

    def _matching(self, kind: str, parameter: str, token: str) -> list[Json]:
        system, value = read_token(token) or ("", "")
        found = []
        for one in self.resources.values():
            held = one.get("meta", {}).get("tag", []) if parameter == "_tag" else one.get("identifier", [])
            key = "code" if parameter == "_tag" else "value"
            if one["resourceType"] == kind and any((x.get("system"), x.get(key)) == (system, value) for x in held):
                found.append(one)
        return found

    def _transaction(self, bundle: Json) -> Reply:
        self.transactions += 1
        planned: list[tuple[Json, str, str, bool]] = []
        names = self._known(bundle)
        if isinstance(names, Reply):
            return names
        for entry in bundle["entry"]:
            resource, request = entry["resource"], entry["request"]
            kind = resource["resourceType"]
            condition = request.get("ifNoneExist") or request["url"].partition("?")[2]
            parameter, _, token = condition.partition("=")
            found = self._matching(kind, parameter, unquote(token))
            if len(found) > 1:
                return outcome(412, f"two match {token}")
            address = f"{kind}/{found[0]['id']}" if found else f"{kind}/{next(self._numbers)}"
            names[entry["fullUrl"]] = address
            planned.append((resource, request["method"], address, bool(found)))
        answers = []
        for resource, method, address, there in planned:
            status = "200 OK"
            if not there or method == "PUT":
                made = _renamed(resource, names)
                old = self.resources.get(address)
                version = int(old["meta"]["versionId"]) if old else 0
                same = old is not None and _bare(old) == _bare(made)
                if not same:
                    self.writes += 1
                    meta = {**made.get("meta", {}), "versionId": str(version + 1)}
                    self.versions.add((address, meta["versionId"]))
                    self.resources[address] = {**made, "id": address.partition("/")[2], "meta": meta}
                status = "200 OK" if there else "201 Created"
            answer: Json = {"response": {"status": status, "location": address}}
            if self.shows_resources:
                answer["resource"] = self.resources[address]
            answers.append(answer)
        return _json({"resourceType": "Bundle", "type": "transaction-response", "entry": answers})

    def _known(self, bundle: Json) -> dict[str, str] | Reply:
        """Addresses of what the bundle refers to by condition: who is not here yet comes to be."""
        names: dict[str, str] = {}
        for reference in set(_references(bundle)):
            kind, mark, query = reference.partition("?")
            if not mark:
                continue
            token = query.partition("=")[2]
            found = self._matching(kind, "identifier", unquote(token))
            if len(found) > 1:
                return outcome(412, f"two match {reference}")
            if not found:
                system, value = read_token(token) or ("", "")
                one = {"resourceType": kind, "id": f"known-{next(self._numbers)}", "meta": {"versionId": "1"}}
                self.resources[f"{kind}/{one['id']}"] = {**one, "identifier": [{"system": system, "value": value}]}
                found = [one]
            names[reference] = f"{kind}/{found[0]['id']}"
        return names


def _references(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield value["reference"]
        value = list(value.values())
    for held in value if isinstance(value, list) else ():
        yield from _references(held)


def _bare(resource: Json) -> Json:
    meta = {key: value for key, value in resource.get("meta", {}).items() if key != "versionId"}
    return {
        **{key: value for key, value in resource.items() if key not in ("id", "meta")},
        **({"meta": meta} if meta else {}),
    }


def _renamed(value: Any, names: dict[str, str]) -> Any:
    if isinstance(value, dict):
        return {
            key: names.get(held, held) if key == "reference" else _renamed(held, names) for key, held in value.items()
        }
    if isinstance(value, list):
        return [_renamed(one, names) for one in value]
    return value


def _json(value: Any) -> Reply:
    return Reply(200, to_json(value).encode(), {"Content-Type": "application/fhir+json"})


def outcome(status: int, words: str, **headers: str) -> Reply:
    issue = {"severity": "error", "code": "processing", "diagnostics": words}
    body = json.dumps({"resourceType": "OperationOutcome", "issue": [issue]}).encode()
    return Reply(status, body, {name.replace("_", "-"): value for name, value in headers.items()})
