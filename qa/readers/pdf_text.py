"""Text of a PDF, page by page, read by a general-purpose library and not by what drew it."""

import io

from qa.model.errors import SourceFileError


def read_pdf_pages(content: bytes) -> list[str]:
    """The text of each page in the order of drawing.

    Raises: SourceFileError: the bytes are no readable PDF.
    """
    # Imported here: only 'elastoqa verify' needs it, and it takes a while to load.
    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    try:
        return [page.extract_text() for page in PdfReader(io.BytesIO(content)).pages]
    except (PyPdfError, ValueError, KeyError, TypeError, RecursionError, OSError):
        raise SourceFileError(
            "the file is no readable PDF",
            expected="a pack made by 'elastoqa packs'",
            code="PDF-001",
        ) from None
