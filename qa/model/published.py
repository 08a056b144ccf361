"""What screens and packs read: one published snapshot, seen through this protocol."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

import polars as pl

from qa.model.adjustment import Adjustment
from qa.model.comparison_rate import ComparisonRate
from qa.model.definitions import CriteriaSet, GradeTable, Measure, Network
from qa.model.requirement import Requirement


@dataclass(frozen=True)
class Definitions:
    """Everything that qa/definitions/ holds, by id."""

    criteria: dict[str, CriteriaSet]
    grade_tables: dict[str, GradeTable]
    measures: dict[str, Measure]
    adjustments: dict[str, Adjustment] = field(default_factory=dict)
    rates: dict[str, ComparisonRate] = field(default_factory=dict)
    requirements: dict[str, Requirement] = field(default_factory=dict)

    def adjustment_of(self, measure_id: str) -> Adjustment | None:
        """The newest version of what a measure is adjusted for; None: nothing."""
        found = [one for one in self.adjustments.values() if one.measure == measure_id]
        return max(found, key=lambda one: one.version, default=None)

    def newest_requirements(self) -> list[Requirement]:
        """The newest version of each requirement, by id."""
        found: dict[str, Requirement] = {}
        for one in sorted(self.requirements.values(), key=lambda one: one.version):
            found[one.id] = one
        return [found[key] for key in sorted(found)]

    def requirement(self, requirement_id: str) -> Requirement | None:
        """The newest version of one requirement."""
        found = [one for one in self.newest_requirements() if one.id == requirement_id]
        return found[0] if found else None

    def measure_by_key(self, key: str) -> Measure:
        return next(measure for measure in self.measures.values() if measure.key == key)


class Published(Protocol):
    """One immutable snapshot.

    frame(name, column=value, column=[v1, v2], …) gives the rows of a published frame that equal
    the value (or one of the values), sorted by the schema's key, with the schema's columns.

    Names: monthly_counts, row_counts, grade_counts, chart_points, funnel_points, baselines,
    signals, files, quarantined, intake_months (see qa/model/schemas.py), integrity (see
    qa/model/integrity.py), case_mix_counts,
    expected_counts, risk_models, risk_coefficients, risk_quality, risk_calibration (see
    qa/model/case_mix_schemas.py), equipment_events (see qa/model/equipment_schemas.py),
    practice_months (see qa/model/practice_schema.py) and exams:
    every current, not retracted exam joined with its assessment (columns of EXAMS, then those of
    ASSESSMENTS that EXAMS has not).
    """

    @property
    def snapshot_id(self) -> str: ...
    @property
    def published_at(self) -> datetime: ...
    @property
    def software_version(self) -> str: ...
    @property
    def network(self) -> Network: ...
    @property
    def definitions(self) -> Definitions: ...
    def frame(self, name: str, **equal_to: object) -> pl.DataFrame: ...
