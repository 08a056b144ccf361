"""Keep a library's own outcry off the screen: the reader says in one line what is wrong."""

import os
from collections.abc import Iterator
from contextlib import contextmanager

_ERROR_OUTPUT = 2


@contextmanager
def without_error_output() -> Iterator[None]:
    """Send what native code writes to the error output nowhere; needed for decoders only.

    A decoder that stumbles over a damaged file writes a trace of its own before it raises.
    """
    try:
        kept = os.dup(_ERROR_OUTPUT)
    except OSError:  # There is no error output.
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, _ERROR_OUTPUT)
        yield
    finally:
        os.dup2(kept, _ERROR_OUTPUT)
        os.close(nowhere)
        os.close(kept)
