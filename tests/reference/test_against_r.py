"""Run lengths against a second program: R's package spc (Debian: r-base-core, r-cran-spc).

spc solves the same integral equations with code of its own (S. Knoth); one call of Rscript works
out all figures. Skipped where R or spc is not installed.
"""

import shutil
import subprocess
from functools import cache

import pytest

from qa.stats import run_rules_arl as rules_arl
from qa.stats.cusum_runs import cusum_limit, one_sided_cusum_arl, two_sided_cusum_arl
from qa.stats.ewma_runs import ewma_arl, ewma_width

RULES = {
    "1": rules_arl.WESTERN_ELECTRIC_1,
    "2": rules_arl.WESTERN_ELECTRIC_2,
    "3": rules_arl.WESTERN_ELECTRIC_3,
    "4": rules_arl.WESTERN_ELECTRIC_4,
}
SHIFTS = (0.0, 0.4, 1.3, 2.2)
MISSING = 3


@cache
def cusum_cases() -> dict[str, float]:
    found = {}
    for allowance, limit, start in ((0.5, 4.77, 0.0), (0.25, 8.0, 4.0), (0.8, 3.0, 1.2)):
        for shift in SHIFTS:
            for sided, runs in (("one", one_sided_cusum_arl), ("two", two_sided_cusum_arl)):
                asked = f"xcusum.arl({allowance}, {limit}, {shift}, hs={start}, sided='{sided}')"
                found[asked] = runs(limit=limit, allowance=allowance, shift=shift, start=start)
    for allowance, arl in ((0.3, 465.0), (0.7, 200.0)):
        asked = f"xcusum.crit({allowance}, {arl}, sided='two')"
        found[asked] = cusum_limit(arl=arl, allowance=allowance)
    return found


@cache
def ewma_cases() -> dict[str, float]:
    found = {}
    for weight, width in ((0.1, 2.7), (0.25, 2.9), (0.6, 3.05)):
        for shift in SHIFTS:
            asked = f"xewma.arl({weight}, {width}, {shift}, sided='two', r=100)"
            found[asked] = ewma_arl(weight=weight, width=width, shift=shift)
    for weight, arl in ((0.15, 370.0), (0.4, 800.0)):
        found[f"xewma.crit({weight}, {arl}, sided='two', r=100)"] = ewma_width(
            arl=arl, weight=weight
        )
    return found


@cache
def rule_cases() -> dict[str, float]:
    found = {}
    for names in ("1", "12", "13", "14"):  # spc knows no other rules of 1956
        for shift in SHIFTS:
            asked = f"xshewhartrunsrules.arl({shift}, type='{names}')"
            rules = [RULES[name] for name in names]
            found[asked] = rules_arl.run_rules_arl(rules, shift=shift)
    return found


@pytest.fixture(scope="module")
def spc() -> dict[str, float]:
    """What spc answers to all questions."""
    if shutil.which("Rscript") is None:
        pytest.skip("Rscript is not installed (Debian: r-base-core, r-cran-spc)")
    asked = [*cusum_cases(), *ewma_cases(), *rule_cases()]
    lines = [
        f"if (!requireNamespace('spc', quietly=TRUE)) quit(status={MISSING})",
        "suppressMessages(library(spc))",
        *(f"cat(sprintf('%.10g\\n', unname({one})))" for one in asked),
    ]
    done = subprocess.run(
        ["Rscript", "--vanilla", "-"], input="\n".join(lines), capture_output=True, text=True
    )
    if done.returncode == MISSING:
        pytest.skip("R's package spc is not installed (Debian: r-cran-spc)")
    assert done.returncode == 0, done.stderr
    return dict(zip(asked, map(float, done.stdout.split()), strict=True))


@pytest.mark.parametrize("cases", [cusum_cases, ewma_cases, rule_cases])
def test_run_lengths_and_limits_equal_those_of_spc(cases, spc):
    """Both solve the equation numerically: they agree to six digits, not by simulation."""
    found = cases()
    assert found == pytest.approx({asked: spc[asked] for asked in found}, rel=1e-6)
