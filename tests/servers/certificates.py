"""Authorities and certificates for tests: good ones, and those with one thing wrong."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Pair:
    """A certificate and its key, as files."""

    certificate: Path
    key: Path


class Authority:
    """An authority of its own; each certificate is written to a file of its name."""

    def __init__(self, folder: Path, name: str = "authority") -> None:
        self._folder, self._name = folder, name
        self._key = ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Test {name}")])
        now = datetime.now(UTC)
        use = x509.KeyUsage(
            digital_signature=False, content_commitment=False, key_encipherment=False,
            data_encipherment=False, key_agreement=False, key_cert_sign=True, crl_sign=True,
            encipher_only=False, decipher_only=False,
        )  # fmt: skip
        made = (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(subject)
            .public_key(self._key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - 900 * DAY)
            .not_valid_after(now + 900 * DAY)
            .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
            .add_extension(use, critical=True)
            .sign(self._key, hashes.SHA256())
        )
        self._subject = subject
        self.file = folder / f"{name}.pem"
        self.file.write_bytes(made.public_bytes(serialization.Encoding.PEM))

    def issue(self, name: str, host: str = "localhost", begins: int = -1, ends: int = 30) -> Pair:
        """A certificate for that host, good from `begins` to `ends` days from now."""
        key = ec.generate_private_key(ec.SECP256R1())
        now = datetime.now(UTC)
        made = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]))
            .issuer_name(self._subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now + begins * DAY)
            .not_valid_after(now + ends * DAY)
            .add_extension(x509.SubjectAlternativeName([x509.DNSName(host)]), critical=False)
            .sign(self._key, hashes.SHA256())
        )
        pair = Pair(self._folder / f"{name}.pem", self._folder / f"{name}.key")
        pair.certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
        plain = serialization.NoEncryption()
        form = serialization.PrivateFormat.PKCS8
        pair.key.write_bytes(key.private_bytes(serialization.Encoding.PEM, form, plain))
        pair.key.chmod(0o600)
        return pair
