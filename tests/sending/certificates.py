"""Authorities and certificates made for one test run."""

from __future__ import annotations

import datetime
import ipaddress
import ssl
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

DAY = datetime.timedelta(days=1)


@dataclass(frozen=True)
class Authority:
    """An authority of its own, with the file that makes clients trust it."""

    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate
    file: Path

    def server(self, folder: Path, host: str = "127.0.0.1", days: int = 1) -> ssl.SSLContext:
        """What a server of that name shows; with negative ``days`` a certificate that ran out."""
        key = ec.generate_private_key(ec.SECP256R1())
        now = datetime.datetime.now(datetime.UTC)
        try:
            name: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(host))
        except ValueError:
            name = x509.DNSName(host)
        certificate = (
            x509.CertificateBuilder()
            .subject_name(_name(host))
            .issuer_name(self.certificate.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - 5 * DAY)
            .not_valid_after(now + days * DAY)
            .add_extension(x509.SubjectAlternativeName([name]), critical=False)
            .sign(self.key, hashes.SHA256())
        )
        chain = folder / "server.pem"
        chain.write_bytes(_key(key) + certificate.public_bytes(serialization.Encoding.PEM))
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(chain)
        return context


def authority(folder: Path, called: str = "Test authority") -> Authority:
    key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.datetime.now(datetime.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_name(called))
        .issuer_name(_name(called))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - DAY)
        .not_valid_after(now + DAY)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    file = folder / "authority.pem"
    file.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    return Authority(key, certificate, file)


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _key(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
