"""Keys, and a service that gives tokens to whoever signs with them."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from loopback import Reply, Request

RSA = rsa.generate_private_key(public_exponent=65537, key_size=2048)
EC = ec.generate_private_key(ec.SECP384R1())


def private(path: Path, data: bytes | str, mode: int = 0o600) -> Path:
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    path.chmod(mode)
    return path


def pem(key: Any, password: bytes | None = None) -> bytes:
    shut = serialization.BestAvailableEncryption(password) if password else serialization.NoEncryption()
    made: bytes = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, shut)
    return made


def number(value: int, size: int | None = None) -> str:
    data = value.to_bytes(size or (value.bit_length() + 7) // 8, "big")
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def rsa_jwk(**more: str) -> dict[str, str]:
    held = RSA.private_numbers()
    names = {"d": held.d, "p": held.p, "q": held.q, "dp": held.dmp1, "dq": held.dmq1, "qi": held.iqmp}
    public = {"n": held.public_numbers.n, "e": held.public_numbers.e}
    return {"kty": "RSA", **{name: number(value) for name, value in (public | names).items()}, **more}


def ec_jwk(**more: str) -> dict[str, str]:
    held = EC.private_numbers()
    public = held.public_numbers
    parts = {"x": number(public.x, 48), "y": number(public.y, 48), "d": number(held.private_value, 48)}
    return {"kty": "EC", "crv": "P-384", **parts, **more}


def unfold(assertion: str) -> tuple[dict[str, Any], dict[str, Any], bytes, bytes]:
    head, claims, signature = (base64.urlsafe_b64decode(part + "=" * (-len(part) % 4)) for part in assertion.split("."))
    return json.loads(head), json.loads(claims), signature, assertion.rpartition(".")[0].encode()


class TokenService:
    """Gives tokens t1, t2 and so on to a client whose assertion it can verify."""

    def __init__(self) -> None:
        self.given = 0
        self.life: Any = 3600
        self.replies: list[Reply] = []
        self.jtis: set[str] = set()

    def __call__(self, request: Request) -> Reply:
        if self.replies:
            return self.replies.pop(0)
        form = {name: values[0] for name, values in parse_qs(request.body.decode()).items()}
        assert form["grant_type"] == "client_credentials"
        assert form["client_assertion_type"] == "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
        head, claims, signature, signed = unfold(form["client_assertion"])
        if head["alg"] == "RS384":
            RSA.public_key().verify(signature, signed, padding.PKCS1v15(), hashes.SHA384())
        else:
            assert head["alg"] == "ES384"
            assert len(signature) == 96
            both = (int.from_bytes(signature[:48], "big"), int.from_bytes(signature[48:], "big"))
            EC.public_key().verify(encode_dss_signature(*both), signed, ec.ECDSA(hashes.SHA384()))
        assert (head["typ"], head["kid"]) == ("JWT", "mine")
        assert claims["iss"] == claims["sub"] == "client-1"
        assert claims["aud"].endswith(request.path)
        assert claims["jti"] not in self.jtis
        self.jtis.add(claims["jti"])
        self.claims = claims
        self.scope = form["scope"]
        self.given += 1
        said = {"access_token": f"t{self.given}", "token_type": "Bearer", "expires_in": self.life}
        return Reply(200, json.dumps({k: v for k, v in said.items() if v is not None}).encode())
