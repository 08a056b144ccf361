"""Serve the sample snapshot: python -m tests.browser.serve_sample PORT [--empty]"""

import sys

import waitress

from dashboard.app import HOST, create_app
from tests.pages.sample_published import empty_published, sample_published

if __name__ == "__main__":
    source = empty_published if "--empty" in sys.argv else sample_published
    waitress.serve(create_app(source).server, host=HOST, port=int(sys.argv[1]), threads=8)
