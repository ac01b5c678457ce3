"""What TLS speaks with: files that are given, or a certificate of this machine's own."""

from __future__ import annotations

import ipaddress
import os
import ssl
from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from calibration.errors import RestmarkError
from service import clock

FOLDER = "tls"
LASTS = timedelta(days=397)
_RENEWED_BEFORE = timedelta(days=30)
_NAME_LIMIT = 64


class CertificateError(RestmarkError):
    """TLS cannot be spoken with that."""

    code = "bad-certificate"


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """A certificate with its key, as files."""

    certificate: Path
    key: Path
    fingerprint: str
    """SHA-256, as browsers show it."""
    is_own: bool
    """Made here; no browser knows it, and a person compares its fingerprint."""

    def context(self) -> ssl.SSLContext:
        """What a server speaks with.

        Raises:
            CertificateError: the files do not fit.
        """
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        try:
            context.load_cert_chain(self.certificate, self.key, password=_no_password)
        except (OSError, ssl.SSLError) as wrong:
            raise CertificateError(
                f"{self.certificate} and {self.key}: cannot be used ({wrong}); allowed: a "
                "certificate (PEM, with its chain) and its key without a password. Correct "
                "--tls-cert and --tls-key."
            ) from None
        return context


def given(certificate: Path, key: Path) -> Certificate:
    """The certificate in a file, and its key.

    Raises:
        CertificateError: they cannot be used.
    """
    try:
        found = x509.load_pem_x509_certificates(certificate.read_bytes())[0]
    except (OSError, ValueError) as wrong:
        raise CertificateError(
            f"{certificate}: cannot be read ({wrong}); allowed: a certificate as PEM. Correct "
            "--tls-cert."
        ) from None
    made = Certificate(
        certificate=certificate, key=key, fingerprint=_fingerprint(found), is_own=False
    )
    made.context()
    return made


def own(data_dir: Path, names: Collection[str]) -> Certificate:
    """A certificate of this machine's own for ``names``, kept in the data folder.

    It stays the same until it has a month left or a name is missing.

    Raises:
        CertificateError: it cannot be written.
    """
    folder = data_dir / FOLDER
    files = folder / "certificate.pem", folder / "key.pem"
    found = _kept(*files)
    if found is None or not _serves(found, names):
        try:
            data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
            folder.mkdir(exist_ok=True, mode=0o700)
            found = _make(*files, names)
        except OSError as wrong:
            raise CertificateError(
                f"{folder}: cannot be written ({wrong}); allowed: a data folder that can. Check "
                "it, or give --tls-cert and --tls-key."
            ) from None
    return Certificate(
        certificate=files[0], key=files[1], fingerprint=_fingerprint(found), is_own=True
    )


def _kept(certificate: Path, key: Path) -> x509.Certificate | None:
    """The certificate that lies there with its key; None where they are not whole."""
    try:
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
        held = serialization.load_pem_private_key(key.read_bytes(), password=None)
    except (OSError, ValueError, TypeError):
        return None
    return found if held.public_key() == found.public_key() else None


def _serves(found: x509.Certificate, names: Collection[str]) -> bool:
    now = clock.now()
    if not found.not_valid_before_utc <= now <= found.not_valid_after_utc - _RENEWED_BEFORE:
        return False
    held = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return {_general(name) for name in names} <= set(held)


def _make(certificate: Path, key: Path, names: Collection[str]) -> x509.Certificate:
    secret = ec.generate_private_key(ec.SECP256R1())
    now = clock.now()
    subject = x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, f"Restmark {min(names, key=len)}"[:_NAME_LIMIT])]
    )
    usage = x509.KeyUsage(
        digital_signature=True, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, key_cert_sign=True, crl_sign=False,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip
    alternatives = x509.SubjectAlternativeName([_general(name) for name in names])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(secret.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + LASTS)
        .add_extension(alternatives, critical=False)
        # a client may take it as its own authority, for itself alone
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.SubjectKeyIdentifier.from_public_key(secret.public_key()), critical=False
        )
        .sign(secret, hashes.SHA256())
    )
    encoding = serialization.Encoding.PEM
    _write(
        key,
        secret.private_bytes(
            encoding, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        ),
    )
    _write(certificate, made.public_bytes(encoding))
    return made


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _write(path: Path, data: bytes) -> None:
    """Put a file in place that nobody else can read."""
    part = path.with_suffix(".part")
    part.unlink(missing_ok=True)
    with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, path)


def _fingerprint(found: x509.Certificate) -> str:
    return found.fingerprint(hashes.SHA256()).hex(":").upper()


def _no_password() -> str:
    """A key that wants a password is refused: nobody is there to type it."""
    raise ssl.SSLError("the key wants a password")
