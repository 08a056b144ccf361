"""Digital signatures on packs: a CMS signature in an update after the pack's own bytes (pyHanko).

The bytes of the pack as it was made stay in front, untouched; so its SHA-256 can still be checked.
"""

import io
import logging
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from qa.model.delivery import Signing
from qa.model.errors import PackError
from qa.stores.secret_files import read_secret

VARIABLE = "ELASTOQA_SIGNING_PASSWORD"
FIELD = "Signature"


@dataclass(frozen=True)
class PackSigner:
    """A key with its certificate, ready to sign. subject: whose, in words."""

    subject: str
    certificate_sha256: str
    _signer: Any

    @property
    def plain(self) -> dict[str, str]:
        """As a manifest holds it."""
        return {"subject": self.subject, "certificate_sha256": self.certificate_sha256}

    def sign(self, pdf: bytes, *, reason: str) -> bytes:
        """The PDF with a signature after its own bytes; the time is that of the machine's clock."""
        from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
        from pyhanko.sign import signers

        meta = signers.PdfSignatureMetadata(field_name=FIELD, md_algorithm="sha256", reason=reason)
        writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
        signed = _apart(lambda: signers.sign_pdf(writer, meta, signer=self._signer))
        return bytes(signed.getvalue())


def load_signer(
    folder: Path, settings: Signing, *, environ: Mapping[str, str]
) -> PackSigner | None:
    """The signer that network.toml names; None: packs are not signed.

    Raises: PackError PCK-040 when the key cannot be opened.
    """
    if not settings.key_file:
        return None
    from pyhanko.sign import signers

    password = read_secret(
        folder,
        file=settings.password_file,
        variable=VARIABLE,
        key="[signing] password_file",
        environ=environ,
        error=PackError,
        code="PCK-041",
    )
    path = folder / settings.key_file
    signer = None
    if path.is_file():
        signer = signers.SimpleSigner.load_pkcs12(str(path), passphrase=password.encode() or None)
    if signer is None or signer.signing_cert is None:
        raise PackError(
            "the key for signing cannot be opened",
            where="network.toml, [signing] key_file",
            expected=f"a PKCS #12 file with key and certificate, and its password ({VARIABLE} or "
            "password_file)",
            todo="Mend it, or take key_file out to issue packs without a signature",
            code="PCK-040",
        )
    certificate = signer.signing_cert
    return PackSigner(certificate.subject.human_friendly, certificate.sha256.hex(), signer)


@dataclass(frozen=True)
class SignatureFound:
    """What a signed PDF says of itself.

    Args:
        is_intact: the bytes that were signed, and the signature over them, are as they were.
        is_whole: everything in the file is signed, up to its last byte.
        is_trusted: by the certificates that were given; None: none were given.
    """

    subject: str
    certificate_sha256: str
    signed_at: datetime | None
    is_intact: bool
    is_whole: bool
    is_trusted: bool | None


def read_signature(pdf: bytes, *, trust_file: Path | None) -> SignatureFound | None:
    """The first signature in a PDF; None where it holds none, or is too damaged to tell.

    Raises: PackError PCK-042 when the file with trusted certificates cannot be read.
    """
    from pyhanko.keys import load_certs_from_pemder
    from pyhanko.pdf_utils.misc import PdfError
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    # Whom nobody vouches for stands in what is returned; the library would log a traceback of it.
    logging.getLogger("pyhanko").setLevel(logging.ERROR)
    try:
        trusted = list(load_certs_from_pemder([str(trust_file)])) if trust_file else []
    except (OSError, ValueError):
        raise PackError(
            "the certificates to trust cannot be read",
            where="network.toml, [signing] trust_file",
            expected="a PEM file",
            code="PCK-042",
        ) from None
    try:
        signatures = PdfFileReader(io.BytesIO(pdf)).embedded_signatures
        if not signatures:
            return None
        context = ValidationContext(trust_roots=trusted, allow_fetching=False)
        status = _apart(lambda: validate_pdf_signature(signatures[0], context, skip_diff=True))
    except (PdfError, ValueError, KeyError, TypeError, AttributeError, IndexError):
        return None
    certificate = status.signing_cert
    return SignatureFound(
        subject=certificate.subject.human_friendly,
        certificate_sha256=certificate.sha256.hex(),
        signed_at=status.signer_reported_dt,
        is_intact=bool(status.intact and status.valid),
        is_whole=status.coverage is SignatureCoverageLevel.ENTIRE_FILE,
        is_trusted=bool(status.trusted) if trust_file else None,
    )


def _apart(work: Callable[[], Any]) -> Any:
    """In a thread of its own: the library starts an event loop, and the caller may be in one."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        return pool.submit(work).result()
