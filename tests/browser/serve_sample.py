"""Serve the sample snapshot: python -m tests.browser.serve_sample PORT [--empty]

Files are tried in the network of tests/bad_exports, which differs from the sample.
"""

import sys
from datetime import UTC, datetime
from pathlib import Path

import waitress

from dashboard.app import HOST, create_app
from qa.jobs.try_file import FileTrial
from tests.pages.sample_published import empty_published, sample_published

NETWORK = Path(__file__).parent.parent / "bad_exports" / "network"

if __name__ == "__main__":
    trial = FileTrial(
        NETWORK,
        find_key=lambda: bytes(32),
        now=lambda: datetime(2026, 11, 5, 8, tzinfo=UTC),
    )
    source = empty_published if "--empty" in sys.argv else sample_published
    waitress.serve(
        create_app(source, profile_tools=trial).server, host=HOST, port=int(sys.argv[1]), threads=8
    )
