"""What the commands import, for the server of tests/robust/warm.py; nothing is used here.

pytest is the main program of the test, which multiprocessing imports in every child.
"""

import pytest

import qa.cli
import qa.jobs.backup
import qa.jobs.intake
import qa.jobs.refresh
import qa.jobs.watch

__all__ = ["pytest", "qa"]
