"""Mix and trend statistics against base R: chisq.test, ks.test and cor.test, one call of Rscript.

R's own data sets are used (HairEyeColor: Snee 1974; Nile: Cobb 1978). Skipped where R is missing.
"""

import shutil
import subprocess

import numpy as np
import pytest

from qa.stats.mix_tests import chi_square_homogeneity, kolmogorov_smirnov
from qa.stats.trend import mann_kendall
from tests.reference.test_mix_statistics import NILE

SCRIPT = """
options(digits = 15)
table <- margin.table(HairEyeColor, c(1, 2))
write(t(table), "", ncolumns = ncol(table))
test <- chisq.test(table)
cat(test$statistic, test$p.value, sqrt(test$statistic / (sum(table) * 3)), "\\n")
test <- suppressWarnings(ks.test(Nile[1:28], Nile[29:100]))
cat(test$statistic, "\\n")
test <- suppressWarnings(cor.test(1:100, Nile, method = "kendall", continuity = TRUE))
cat(test$p.value, "\\n")
"""


@pytest.fixture(scope="module")
def from_r() -> list[list[float]]:
    if shutil.which("Rscript") is None:
        pytest.skip("R is not installed (Debian: r-base-core)")
    done = subprocess.run(["Rscript", "-e", SCRIPT], capture_output=True, text=True, check=True)
    return [[float(one) for one in line.split()] for line in done.stdout.splitlines()]


def test_chi_square_and_cramers_v_equal_r(from_r):
    *table, (statistic, p_value, v), _, _ = from_r
    found = chi_square_homogeneity(np.array(table))
    assert (found.chi2, found.v) == pytest.approx((statistic, v), rel=1e-6)
    assert found.p_value == pytest.approx(p_value, rel=1e-5)


def test_kolmogorov_smirnov_distance_equals_r(from_r):
    values = np.unique(NILE)
    early, late = ([series.count(one) for one in values] for series in (NILE[:28], NILE[28:]))
    assert kolmogorov_smirnov(values, early, late).distance == pytest.approx(from_r[-2][0])


def test_mann_kendall_p_value_equals_r_with_its_continuity_correction(from_r):
    assert mann_kendall(NILE).p_value == pytest.approx(from_r[-1][0], rel=1e-5)
