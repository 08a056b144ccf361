"""Where a request came to and where it came from, as far as a browser says so.

Source: OWASP, Cross-Site Request Forgery Prevention (verifying origin with standard headers);
    Fetch Metadata Request Headers (Sec-Fetch-Site).
"""

import re
from urllib.parse import urlsplit

from flask import request

from dashboard.own_form import LOCAL_HOSTS


def is_known_host(public_url: str) -> bool:
    """The request is to this machine by name or number, or to the address that is made public.

    Anything else is a name that somebody points here, or a forged Host that links would carry on.
    """
    host = request.host.casefold()
    if re.sub(r":\d+$", "", host) in LOCAL_HOSTS:
        return True
    return bool(public_url) and host == urlsplit(public_url).netloc.casefold()


def is_own_origin(public_url: str) -> bool:
    """What changes something was sent by our own pages, where the browser says from where."""
    origin = request.headers.get("Origin")
    relation = request.headers.get("Sec-Fetch-Site")
    own = {f"{request.scheme}://{request.host}"}
    if public_url:
        parts = urlsplit(public_url)
        own.add(f"{parts.scheme}://{parts.netloc}")
    return origin in (None, *own) and relation in (None, "same-origin", "none")
