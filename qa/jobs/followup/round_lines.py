"""Rounds and agreement in lines of text and rows, for the command line and for reports."""

import csv
import io
from collections.abc import Sequence

import polars as pl

from qa.drift.agreement_study import (
    AgreementPart,
    agreement_parts,
    band_kappa,
    crossed_table,
    find_pairs,
    table_parts,
)
from qa.drift.round_scores import Scored, performance
from qa.followup.rounds import Round
from qa.followup.studies import Table
from qa.model.errors import FollowupError
from qa.model.spreadsheets import safe_text

COLUMNS = (
    "round",
    "site",
    "device",
    "n",
    "value",
    "standard_uncertainty",
    "assigned",
    "assigned_uncertainty",
    "sigma",
    "z",
    "z_prime",
    "zeta",
    "en",
    "score_used",
    "verdict",
    "en_verdict",
)


def list_lines(found: Sequence[Round]) -> list[str]:
    lines = []
    for one in found:
        state = "closed" if one.is_closed else f"open until {one.plan.closes_on}"
        lines.append(
            f"{one.round_id}  {one.plan.title}: {state}, {len(one.results)} of "
            f"{len(one.plan.participants)} reported"
        )
    biased = [one for one in performance([r.scores for r in found if r.is_closed]) if one.is_biased]
    lines += [
        f"{one.participant}: mean score {one.mean_score:+.1f} over {one.n_rounds} rounds, which "
        "points to a lasting bias"
        for one in biased
    ]
    return lines or ["No round was planned."]


def round_lines(one: Round, *, site_id: str = "") -> list[str]:
    """The report of a round; of one site's participants where a site is named."""
    scores = one.scores
    lines = [f"{one.round_id}  {one.plan.title}", f"Assigned value: {scores.assigned.words}."]
    if scores.assigned.sigma:
        how = "as planned" if one.plan.sigma else "robust, of the results"
        lines.append(f"Standard deviation for scores: {scores.assigned.sigma:.3g} ({how}).")
    lines += [
        f"  {row.result.site_id}  {row.result.participant}: {score_words(row)}"
        for row in scores.scores
        if site_id in ("", row.result.site_id)
    ]
    if one.missing:
        lines.append(f"Nothing yet from {', '.join(one.missing)}.")
    return lines


def score_words(one: Scored) -> str:
    """Example: '7.9, z′ +3.4: action; E_n +1.2: action'"""
    parts = [f"{one.result.value:g}"]
    if one.score is not None:
        parts[0] += f", {one.used} {one.score:+.1f}: {one.verdict}"
    if one.en is not None:
        parts.append(f"ζ {one.zeta:+.1f}, E_n {one.en:+.2f}: {one.en_verdict}")
    return "; ".join(parts)


def round_rows(one: Round, *, site_id: str = "") -> list[tuple[object, ...]]:
    """One row for each participant, as COLUMNS."""
    assigned = one.scores.assigned
    return [
        (
            one.round_id,
            row.result.site_id,
            row.result.participant,
            row.result.n,
            row.result.value,
            row.result.uncertainty,
            assigned.value,
            assigned.uncertainty,
            assigned.sigma,
            row.z,
            row.z_prime,
            row.zeta,
            row.en,
            row.used,
            row.verdict or "",
            row.en_verdict or "",
        )
        for row in one.scores.scores
        if site_id in ("", row.result.site_id)
    ]


def round_csv(one: Round, *, site_id: str = "") -> str:
    target = io.StringIO()
    writer = csv.writer(target)
    writer.writerow(COLUMNS)
    for row in round_rows(one, site_id=site_id):
        writer.writerow([safe_text(cell) if isinstance(cell, str) else cell for cell in row])
    return target.getvalue()


def pair_lines(exams: pl.DataFrame, *, split: float) -> list[str]:
    """What paired exams of routine data say."""
    pairs = find_pairs(exams)
    lines = [f"{pairs.height} pairs: same patient, day, technique and probe, two operators."]
    lines += [
        part_words(one)
        for one in agreement_parts(pairs["first_kpa"], pairs["second_kpa"], split=split)
    ]
    banded = pairs.drop_nulls(["first_band", "second_band"])
    kappa = band_kappa(banded["first_band"], banded["second_band"])
    if kappa is not None:
        low, high = kappa[0].interval()
        lines.append(
            f"Bands of {kappa[1]} pairs: weighted kappa {kappa[0].value:.2f} (quadratic weights, "
            f"95 % interval {low:.2f} to {high:.2f})"
        )
    return lines


def part_words(one: AgreementPart) -> str:
    d = one.differences
    if d is None:
        return f"{one.name}: {one.n} pairs, too few"
    icc = ", ".join(f"{i.model} {i.value:.2f} ({i.lower:.2f} to {i.upper:.2f})" for i in one.icc)
    return (
        f"{one.name}: {one.n} pairs; second less first {d.mean:+.2f} kPa "
        f"({d.mean_interval[0]:+.2f} to {d.mean_interval[1]:+.2f}); limits of agreement "
        f"{d.lower:+.2f} ({d.lower_interval[0]:+.2f} to {d.lower_interval[1]:+.2f}) and "
        f"{d.upper:+.2f} ({d.upper_interval[0]:+.2f} to {d.upper_interval[1]:+.2f}); "
        f"within-subject CV {one.cv:.1%}; two readings differ by less than "
        f"{one.repeatability:.2f} kPa in 95 of 100 pairs; {icc}"
    )


def read_study(text: str, *, name: str) -> Table:
    """A crossed study from CSV (subject, operator, trial, value).

    Raises: FollowupError RND-010 when columns, numbers or the design do not fit.
    """
    rows = list(csv.DictReader(text.splitlines()))
    try:
        values = [float(row["value"]) for row in rows]
        subjects = [row["subject"] for row in rows]
        return crossed_table(subjects, [row["operator"] for row in rows], values)
    except (KeyError, TypeError, ValueError) as problem:
        raise FollowupError(
            f"the study cannot be worked out ({problem})",
            where=name,
            expected="columns subject, operator, trial, value; every operator reads every subject "
            "equally often, at least twice",
            code="RND-010",
        ) from None


def study_lines(text: str, *, name: str, split: float) -> list[str]:
    """What a study says. Raises: as read_study."""
    parts = table_parts(read_study(text, name=name), split=split)
    lines = []
    for one in parts:
        if one.gauge is None:
            lines.append(f"{one.name}: {one.n_subjects} subjects, too few")
            continue
        g = one.gauge
        lines.append(
            f"{one.name}: {one.n_subjects} subjects; repeatability (same operator) {g.ev:.3g} kPa, "
            f"{g.ev / one.mean:.1%} of the mean; between operators {g.av:.3g}; reproducibility "
            f"{g.grr:.3g} kPa; gauge R&R {g.grr_share:.0%} of the whole scatter; "
            f"{g.distinct_categories:.1f} distinct categories"
        )
    return lines
