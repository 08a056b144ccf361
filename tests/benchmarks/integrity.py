"""Integrity checks: how often honest networks are asked, and whether planted faults are found.

Simulated, seeds stated (tests/integrity_networks.py makes exams from single readings). Honest: 60
networks of 12 sites and 48 operators, one year, 20 to 90 exams a month each; a check asks falsely
where it asks any site, or any operator, of such a network. Found: 20 networks of 6 sites, one
operator of 35 exams a month (for failures left out: one site) with a fault; found where the named
check asks about her. Who writes IQRs to fit the limit is looked for at 35 and at 70 a month. The
open survey is asked too where its file is beside the project; its answers are printed beside their
count, not judged: nobody knows that its data are without habits.
"""

import sys
from collections import Counter
from collections.abc import Sequence

import numpy as np
import polars as pl

from qa.drift.integrity import find_integrity
from qa.model.integrity import CHECKS, STATED_FALSE_SHARE, IntegrityState
from tests.benchmarks import BenchmarkFigure
from tests.integrity_networks import (
    Fault,
    Shape,
    assessed,
    copier,
    gamer,
    hider,
    homes_of,
    honest_exams,
    late_typist,
    one_iqr,
    plant,
    rounder,
    until_good,
    used_criteria,
)
from tests.integrity_survey import SURVEY_FILE, survey_exams

SEED, SEED_OF_FAULTS = 20601, 20602
N_HONEST, N_FAULTY = 60, 20
Faults = dict[str, tuple[Fault, str, str, str, float]]
FAULTS: Faults = {
    "copier": (copier, "INT-001", "operator", "op-5", 0.9),
    "copier_of_series": (copier, "INT-002", "operator", "op-5", 0.9),
    "gamer_of_the_limit": (gamer, "INT-008", "operator", "op-5", 0.7),
    "rounder": (rounder, "INT-005", "operator", "op-5", 0.9),
    "one_iqr": (one_iqr, "INT-003", "operator", "op-5", 0.9),
    "late_typist": (late_typist, "INT-006", "operator", "op-5", 0.9),
    "until_good": (until_good, "INT-010", "operator", "op-5", 0.9),
    "failures_left_out": (hider, "INT-011", "site", "site-1", 0.9),
}
BUSY_FAULTS = {"busy_gamer_of_the_limit": (gamer, "INT-008", "operator", "op-5", 0.9)}


def asked(exams: pl.DataFrame) -> pl.DataFrame:
    """Questions of a network."""
    judged = assessed(exams)
    found = find_integrity(judged, criteria=used_criteria(), homes=homes_of(judged))
    return found.filter(state=IntegrityState.ASKED.value)


def run(options: Sequence[str] = ()) -> list[BenchmarkFigure]:
    """options: numbers of honest and of faulty networks, instead of the stated ones."""
    n_honest, n_faulty = (int(one) for one in options) if options else (N_HONEST, N_FAULTY)
    return [
        *_false_questions(n_honest),
        *_faults_found(n_faulty, FAULTS, Shape(n_sites=6)),
        *_faults_found(n_faulty, BUSY_FAULTS, Shape(n_sites=6, exams=70)),
        *_survey(),
    ]


def _false_questions(n_networks: int) -> list[BenchmarkFigure]:
    rng, false = np.random.default_rng(SEED), Counter[str]()
    for _ in range(n_networks):
        shape = Shape(exams=int(rng.integers(20, 91)))
        questions = asked(honest_exams(rng, shape))
        for code, kind in questions.select("check_id", "unit_kind").unique().iter_rows():
            print(f"honest network asked: {code} of {kind}", file=sys.stderr)
            false[code] += 1
    n_kinds = {one.code: len(one.units) for one in CHECKS}
    return [
        BenchmarkFigure(
            f"false_questions_{one.code}",
            false[one.code] / (n_networks * n_kinds[one.code]),
            STATED_FALSE_SHARE,
            f"{one.title}: {false[one.code]} of {n_networks * n_kinds[one.code]} networks and "
            f"kinds of unit; stated {STATED_FALSE_SHARE}; seed {SEED}",
        )
        for one in CHECKS
    ]


def _faults_found(n_networks: int, faults: Faults, shape: Shape) -> list[BenchmarkFigure]:
    rng, found = np.random.default_rng(SEED_OF_FAULTS), Counter[str]()
    for _ in range(n_networks):
        honest = honest_exams(rng, shape)
        for name, (fault, code, kind, unit_id, _) in faults.items():
            faulty = plant(rng, honest, unit_id, fault, kind=kind)
            found[name] += (
                asked(faulty).filter(check_id=code, unit_kind=kind, unit_id=unit_id).height
            )
    return [
        BenchmarkFigure(
            f"found_{name}",
            found[name] / n_networks,
            goal,
            f"{code} about {unit_id}; {found[name]} of {n_networks}; seed {SEED_OF_FAULTS}",
            is_upper_bound=False,
        )
        for name, (_, code, _, unit_id, goal) in faults.items()
    ]


def _survey() -> list[BenchmarkFigure]:
    if not SURVEY_FILE.exists():
        return []
    exams, criteria = survey_exams()
    found = find_integrity(exams, criteria=criteria, homes=homes_of(exams))
    questions = found.filter(state=IntegrityState.ASKED.value, unit_kind="operator")
    told = [f"{one['unit_id']} {one['check_id']}" for one in questions.iter_rows(named=True)]
    judged = found.filter(pl.col("p_value").is_not_null(), unit_kind="operator").height
    return [
        BenchmarkFigure(
            "questions_in_the_open_survey",
            questions.height,
            float(judged),
            f"of {judged} checks of ten technicians; reported, not judged: {', '.join(told)}",
        )
    ]
