"""The program's seal: a key of its own with a certificate, put over PDFs and read back from them.

The seal says that a file has not changed since this installation closed it; it is nobody's signature. Key and certificate lie
in one PKCS#12 file (`settings.SEAL_FILE`), made by `manage.py make_seal` or brought from elsewhere. Seals are PAdES
(ETSI EN 319 142-1, baseline B-B) certifying signatures that allow no change (ISO 32000-1, 12.8.2.2, P = 1).

pyHanko is imported inside functions: it takes a second and 60 MB, and only who seals or checks needs it.
"""

import contextlib
import os
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from stewardship.common.errors import Refused

VALID_FOR = timedelta(days=3653)  # ten years; a seal stays checkable after that (see read_seal)
FIELD = "Seal"


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that is put inside the PDF beside its pages."""

    name: str
    content_type: str
    content: bytes
    description: str


@dataclass(frozen=True, slots=True)
class Seal:
    """What the seal on some bytes turned out to be.

    Attributes
    ----------
    intact : every byte of the file is as it was when it was sealed.
    holder : name in the certificate.
    fingerprint : SHA-256 of the certificate, 64 hexadecimal digits.
    ours : the certificate is, or was, this installation's.
    sealed_at : by the clock of the machine that sealed it; nobody else vouches for it.
    """

    intact: bool
    holder: str
    fingerprint: str
    ours: bool
    sealed_at: datetime | None


def _passphrase() -> bytes | None:
    return settings.SEAL_PASSPHRASE.encode() or None


def has_seal() -> bool:
    return settings.SEAL_FILE.exists()


def make_seal(*, name: str, renew: bool = False) -> str:
    """Make the key and its self-signed certificate, and give the certificate's fingerprint. One that is there is kept.

    With `renew` a new one takes its place; the old certificate, without its key, stays beside it so that old seals are known.
    """
    path: Path = settings.SEAL_FILE
    if has_seal():
        if not renew:
            return fingerprint()
        old = _certificates_of(path)[0]
        kept = path.with_name(f"{path.stem}-until-{timezone.now():%Y%m%d%H%M%S}.pem")
        kept.write_bytes(_pem(old))
    path.parent.mkdir(parents=True, exist_ok=True)
    # Written aside and put into place: two that start together end with one seal, and nobody reads half a file.
    fresh = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    fresh.touch(mode=0o600)
    fresh.write_bytes(_new_pkcs12(name))
    if renew:
        fresh.replace(path)
    else:
        with contextlib.suppress(FileExistsError):
            os.link(fresh, path)
        fresh.unlink()
    return fingerprint()


def _new_pkcs12(name: str) -> bytes:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import rsa
    from cryptography.hazmat.primitives.serialization import (
        BestAvailableEncryption,
        NoEncryption,
        pkcs12,
    )

    # Not elliptic curves: those would lift the file to PDF 2.0 (ISO/TS 32002), and PDF/UA-1 stands on 1.7.
    key = rsa.generate_private_key(public_exponent=65537, key_size=3072)
    holder = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name[:64])])
    now = timezone.now()
    certificate = (
        x509.CertificateBuilder()
        .subject_name(holder)
        .issuer_name(holder)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))  # clocks differ
        .not_valid_after(now + VALID_FOR)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.KeyUsage(
                digital_signature=True,
                content_commitment=True,
                key_encipherment=False,
                data_encipherment=False,
                key_agreement=False,
                key_cert_sign=False,
                crl_sign=False,
                encipher_only=False,
                decipher_only=False,
            ),
            critical=True,
        )
        # document signing: RFC 9336
        .add_extension(
            x509.ExtendedKeyUsage([x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36")]), critical=False
        )
        .sign(key, hashes.SHA256())
    )
    words = _passphrase()
    locked = BestAvailableEncryption(words) if words else NoEncryption()
    return pkcs12.serialize_key_and_certificates(b"seal", key, certificate, None, locked)


def _pem(certificate: Any) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding

    return certificate.public_bytes(Encoding.PEM)


def _certificates_of(path: Path) -> list[Any]:
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import pkcs12

    if path.suffix == ".pem":
        return list(x509.load_pem_x509_certificates(path.read_bytes()))
    try:
        _key, certificate, _others = pkcs12.load_key_and_certificates(
            path.read_bytes(), _passphrase()
        )
    except ValueError as error:
        raise Refused(_locked_words()) from error
    if certificate is None:
        raise Refused(_("%s holds no certificate.") % path.name)
    return [certificate]


def _locked_words() -> str:
    return _(
        "The program’s seal cannot be opened: the passphrase does not fit, or %s is damaged."
    ) % (settings.SEAL_FILE.name)


def _print_of(certificate: Any) -> str:
    from cryptography.hazmat.primitives import hashes

    return certificate.fingerprint(hashes.SHA256()).hex()


def fingerprint() -> str:
    """SHA-256 of this installation's certificate.

    Raises
    ------
    Refused : there is no seal, or the passphrase does not open it.
    """
    _refuse_without()
    return _print_of(_certificates_of(settings.SEAL_FILE)[0])


def _refuse_without() -> None:
    if not has_seal():
        raise Refused(_("There is no seal yet; run “manage.py make_seal” once."))


def known_fingerprints() -> set[str]:
    """Of this installation's certificate and of those that came before it."""
    path: Path = settings.SEAL_FILE
    files = [path, *path.parent.glob(f"{path.stem}-until-*.pem")] if path.parent.exists() else []
    return {_print_of(one) for file in files if file.exists() for one in _certificates_of(file)}


def sealed(
    content: bytes, *, more: bytes | None = None, attachments: Iterable[Attachment] = ()
) -> bytes:
    """`content` with the pages of the PDF `more` and the attachments behind it, and the seal over all of it.

    Everything is appended: the result begins with the very bytes of `content`.

    Raises
    ------
    Refused : there is no seal, or the passphrase does not open it.
    """
    _refuse_without()
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import PdfSignatureMetadata, SimpleSigner, sign_pdf
    from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter

    from stewardship.common.pdf_append import append_pages, attach

    try:
        signer = SimpleSigner.load_pkcs12_data(
            settings.SEAL_FILE.read_bytes(), other_certs=[], passphrase=_passphrase()
        )
    except ValueError as error:
        raise Refused(_locked_words()) from error
    writer = IncrementalPdfFileWriter(BytesIO(content))
    if more is not None:
        append_pages(writer, more)
    for one in attachments:
        attach(writer, one.name, one.content_type, one.content, one.description)
    words = PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        subfilter=SigSeedSubFilter.PADES,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
        name=signer.subject_name,
    )
    field = SigFieldSpec(FIELD, readable_field_name=_("The program’s seal"))
    out: BytesIO = sign_pdf(writer, words, signer=signer, new_field_spec=field)
    return out.getvalue()


def read_seal(content: bytes) -> Seal | None:
    """The seal over a PDF; None where there is none.

    Whether the certificate has run out since is not asked: the seal then still shows that nothing has changed.

    Raises
    ------
    Refused : the bytes are no readable PDF.
    """
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    try:
        seals = PdfFileReader(BytesIO(content)).embedded_signatures
        if not seals:
            return None
        last = seals[-1]
        certificate = last.signer_cert
        sealed_at = last.self_reported_timestamp
        trust = ValidationContext(trust_roots=[certificate], allow_fetching=False)
        status = validate_pdf_signature(last, signer_validation_context=trust)
    except Exception as error:  # one wrong byte may trip the reader anywhere, in zlib and ASN.1 too
        raise Refused(_("The file is damaged, or it is no PDF.")) from error
    whole = status.coverage == SignatureCoverageLevel.ENTIRE_FILE
    mark = certificate.sha256.hex()
    return Seal(
        intact=bool(status.intact and status.valid and whole),
        holder=certificate.subject.native.get("common_name", certificate.subject.human_friendly),
        fingerprint=mark,
        ours=mark in known_fingerprints(),
        sealed_at=sealed_at,
    )
