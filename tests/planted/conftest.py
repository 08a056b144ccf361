"""One default demo network for all tests of this folder; made once, never changed."""

import time
from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest

from demo_sites.make import make_demo
from demo_sites.truth import Truth, read_truth


@dataclass(frozen=True)
class Demo:
    folder: Path
    truth: Truth
    cpu_seconds: float

    @property
    def quiet_year(self) -> pl.DataFrame:
        """Performed exams of the first twelve months, before any event of the default scenario."""
        first = self.truth.exams["month"].min()
        return self.truth.exams.filter(
            (pl.col("month") < pl.lit(first).dt.offset_by("12mo"))
            & (pl.col("performed") == "performed")
        )


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    folder = tmp_path_factory.mktemp("demo")
    start = time.process_time()
    make_demo(folder)
    return Demo(folder, read_truth(folder), time.process_time() - start)
