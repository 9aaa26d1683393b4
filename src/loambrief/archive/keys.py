"""Keys to sign with: a PKCS#12 file, a PKCS#11 token, and a certificate to try things with.

A passphrase comes from a function, an environment variable or the system's keyring. It is
never an argument of a command, never logged, and in no error's text: errors of the libraries
below are replaced, not chained.
"""

import datetime as dt
import os
import stat
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from loambrief.archive.errors import KeyFault
from loambrief.settings import secret

TRIAL = "Trial certificate, identity not checked"
"""Organisational unit of a certificate from :func:`make_trial_key`; verify looks for it."""
LARGEST_KEY = 200_000
SHORTEST_PASSPHRASE = 8
Ask = Callable[[str], str]
"""Asks the user for a secret, with a prompt."""


@dataclass(frozen=True)
class SecretPlace:
    """Where a passphrase or PIN is to be found; asked for if no place is named."""

    env: str = ""
    """Name of an environment variable."""
    keyring: str = ""
    """Name of a service in the system's keyring."""
    user: str = ""
    """Entry of that service."""

    def find(self, ask: Ask | None, prompt: str, environ: Mapping[str, str] = os.environ) -> str:
        """The secret.

        Raises
        ------
        KeyFault
            The named place does not have it, or there is nobody to ask.
        """
        found = secret(self.env, self.keyring, self.user, "passphrase_keyring", KeyFault, environ)
        if found is not None:
            return found
        if ask is None:
            raise KeyFault("no passphrase: name an environment variable (--passphrase-env, or "
                           "passphrase_env in the settings) or a keyring entry, or run this in "
                           "a terminal")
        return ask(prompt)


@dataclass(frozen=True)
class Token:
    """A key on a PKCS#11 token."""

    module: Path
    """The token's driver."""
    token: str
    certificate: str
    key: str = ""
    """``token``, ``certificate``, ``key``: labels; the key's is the certificate's if empty."""


def open_p12(path: Path, passphrase: str, chain: Sequence[Path] = ()):
    """A signer from a PKCS#12 file (RFC 7292).

    Parameters
    ----------
    path : Path
        At most 200 kB.
    chain : sequence of Path
        Further certificates, PEM or DER, from the signer's issuer upwards.

    Raises
    ------
    KeyFault
        Not a PKCS#12 file, another passphrase, or no key in it.
    """
    from asn1crypto import keys, x509
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
        pkcs12,
    )
    from pyhanko.sign.signers import SimpleSigner
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    with path.open("rb") as stream:
        content = stream.read(LARGEST_KEY + 1)
    if len(content) > LARGEST_KEY:
        raise KeyFault(f"{path}: larger than {LARGEST_KEY} bytes, so no key file")
    try:
        key, certificate, more = pkcs12.load_key_and_certificates(content, passphrase.encode())
    except Exception:
        raise KeyFault(f"{path}: wrong passphrase, or not a PKCS#12 file") from None
    if key is None or certificate is None:
        raise KeyFault(f"{path}: holds no key with its certificate")
    store = SimpleCertificateStore()
    for extra in more:
        store.register(x509.Certificate.load(extra.public_bytes(Encoding.DER)))
    for file in chain:
        store.register_multiple(load_certificates(file))
    secret = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    return SimpleSigner(
        signing_cert=x509.Certificate.load(certificate.public_bytes(Encoding.DER)),
        signing_key=keys.PrivateKeyInfo.load(secret), cert_registry=store)


def open_token(token: Token, pin: str, chain: Sequence[Path] = ()):
    """A signer whose key stays on a PKCS#11 token.

    Raises
    ------
    KeyFault
        The extra ``pkcs11`` is not installed, or the token refuses.
    """
    try:
        import pkcs11 as _  # noqa: F401
    except ImportError:
        raise KeyFault("a key on a token needs the package python-pkcs11: "
                       "pip install 'loambrief[pkcs11]'") from None
    from pyhanko.config.pkcs11 import TokenCriteria
    from pyhanko.sign.pkcs11 import PKCS11Signer, open_pkcs11_session

    try:
        session = open_pkcs11_session(str(token.module), user_pin=pin,
                                      token_criteria=TokenCriteria(label=token.token))
        signer = PKCS11Signer(session, cert_label=token.certificate,
                              key_label=token.key or token.certificate,
                              ca_chain=[c for file in chain for c in load_certificates(file)])
        signer.signing_cert  # noqa: B018 - fetches it, so that a missing one is found here
    except Exception as error:
        raise KeyFault(f"the token {token.token!r} refuses ({type(error).__name__}): check "
                       f"module, labels and PIN") from None
    return signer


def load_certificates(path: Path) -> list:
    """Certificates of a PEM or DER file, as asn1crypto objects.

    Raises
    ------
    KeyFault
        The file holds none.
    """
    from asn1crypto import pem, x509

    content = path.read_bytes()[:LARGEST_KEY]
    try:
        blocks = ([der for kind, _, der in pem.unarmor(content, multiple=True)
                   if kind == "CERTIFICATE"] if pem.detect(content) else [content])
        found = [x509.Certificate.load(der, strict=True) for der in blocks]
        for certificate in found:
            certificate.native  # noqa: B018 - parses all of it
    except (ValueError, TypeError):
        raise KeyFault(f"{path}: not a certificate in PEM or DER") from None
    if not found:
        raise KeyFault(f"{path}: holds no certificate")
    return found


def readable_by_others(path: Path) -> bool:
    """Whether group or others may read a key file."""
    return os.name == "posix" and bool(stat.S_IMODE(path.stat().st_mode) & 0o077)


def is_trial(certificate) -> bool:
    """Whether a certificate says of itself that it is for trial."""
    unit = certificate.subject.native.get("organizational_unit_name", "")
    return TRIAL in (unit if isinstance(unit, list) else [unit])


def make_trial_key(name: str, passphrase: str, *, now: dt.datetime, days: int = 730,
                   bits: int = 3072, email: str = "") -> tuple[bytes, bytes]:
    """A new RSA key with a certificate that it signed itself.

    Parameters
    ----------
    name : str
        Common name, 1 to 64 characters (RFC 5280, upper bound of a common name).
    passphrase : str
        At least 8 characters.
    now : datetime
        Start of validity, with time zone.
    days : int
        Length of validity.
    bits : int
        3072 gives 128 bits of strength (NIST SP 800-57 part 1, table 2; from memory,
        unverified).
    email : str
        Put into the certificate if given.

    Returns
    -------
    tuple of bytes
        PKCS#12 file and certificate in PEM.

    Raises
    ------
    KeyFault
        A name or passphrase that will not do.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import rsa
    from cryptography.hazmat.primitives.serialization import pkcs12
    from cryptography.x509.oid import NameOID

    if not 1 <= len(name.strip()) <= 64 or not name.isprintable():
        raise KeyFault(f"name {name!r}: wanted 1 to 64 printable characters")
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise KeyFault(f"the passphrase is shorter than {SHORTEST_PASSPHRASE} characters")
    key = rsa.generate_private_key(public_exponent=65537, key_size=bits)
    subject = x509.Name([
        x509.NameAttribute(NameOID.ORGANIZATIONAL_UNIT_NAME, TRIAL),
        x509.NameAttribute(NameOID.COMMON_NAME, name.strip()),
    ])
    usage = x509.KeyUsage(digital_signature=True, content_commitment=True,
                          key_encipherment=False, data_encipherment=False, key_agreement=False,
                          key_cert_sign=False, crl_sign=False, encipher_only=False,
                          decipher_only=False)
    builder = (
        x509.CertificateBuilder().subject_name(subject).issuer_name(subject)
        .public_key(key.public_key()).serial_number(x509.random_serial_number())
        .not_valid_before(now).not_valid_after(now + dt.timedelta(days=days))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    if email:
        try:
            names = x509.SubjectAlternativeName([x509.RFC822Name(email)])
        except ValueError:
            raise KeyFault(f"e-mail address {email!r} will not do") from None
        builder = builder.add_extension(names, critical=False)
    certificate = builder.sign(key, hashes.SHA256())
    packed = pkcs12.serialize_key_and_certificates(
        name.strip().encode(), key, certificate, None,
        serialization.BestAvailableEncryption(passphrase.encode()))
    return packed, certificate.public_bytes(serialization.Encoding.PEM)


def write_new(path: Path, content: bytes, mode: int) -> None:
    """Write a file that must not exist yet, with its mode from the first byte on.

    Raises
    ------
    KeyFault
        It exists.
    """
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    except FileExistsError:
        raise KeyFault(f"{path} exists; a key is never overwritten") from None
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
