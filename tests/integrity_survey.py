"""The open survey as EXAMS with assessments, without intake: for checks of whole columns.

Read as its README says; no dates are public, so all exams stand on one nominal day.
"""

from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl

from qa.assess import assess_exams
from qa.model.definitions import CriteriaSet
from qa.model.schemas import EXAMS
from tests.exam_tables import DEFAULTS, criteria_in_force, definitions

SURVEY_FILE = Path(__file__).parents[2] / "shared" / "open-data" / "us_survey_2017_2018.csv"
CRITERIA = "survey-2017.v1"
_DAY = date(2018, 6, 15)


def survey_exams() -> tuple[pl.DataFrame, dict[str, CriteriaSet]]:
    """Exams of technicians A to J with a probe, and the criteria set that judged them."""
    rows = pl.read_csv(SURVEY_FILE, infer_schema_length=None)
    rows = rows.filter(pl.col("LUAXSTAT").is_in([1, 2]) & (pl.col("LUATECH") != "YY"))
    at = datetime(_DAY.year, _DAY.month, _DAY.day, tzinfo=UTC)
    exams = EXAMS.conform(
        rows.select(
            exam_key=pl.format("exam-{}", "SEQN"),
            version_no=pl.lit(1),
            patient_key=pl.format("patient-{}", "SEQN"),
            site_id=pl.lit("survey"),
            operator_id="LUATECH",
            device_id=pl.lit("device"),
            technique=pl.lit("TE"),
            probe=pl.lit("unknown"),
            performed=pl.lit("performed"),
            order_type=pl.lit("first"),
            n_attempted="LUANMTGP",
            n_valid="LUANMVGP",
            stiffness_value="LUXSMED",
            stiffness_iqr="LUXSIQR",
            stiffness_unit=pl.lit("kPa"),
            stiffness_kpa="LUXSMED",
            attenuation_value="LUXCAPM",
            attenuation_iqr="LUXCPIQR",
            attenuation_unit=pl.lit("dB/m"),
            attenuation_db_m="LUXCAPM",
            attenuation_iqr_db_m="LUXCPIQR",
            sex=pl.lit("unknown"),
            is_stiffness_censored=pl.col("LUXSMED") >= 75,
            is_attenuation_censored=pl.col("LUXCAPM").is_in([100, 400]),
            is_date_nominal=True,
            is_retracted=False,
            exam_at=pl.lit(at),
            exam_on=pl.lit(_DAY),
            month=pl.lit(_DAY.replace(day=1)),
            flags=pl.lit([], dtype=pl.List(pl.String)),
            file_id=pl.lit("survey"),
            row_no=pl.int_range(pl.len()) + 1,
            profile_id=pl.lit("survey"),
            row_hash=pl.format("hash-{}", "SEQN"),
            known_at=pl.lit(at),
        ).with_columns(pl.col("is_stiffness_censored", "is_attenuation_censored").fill_null(False))
    )
    verdicts = assess_exams(
        exams,
        criteria=criteria_in_force(CRITERIA),
        grade_tables=[],
        settings=DEFAULTS,
        horizon_on=_DAY,
    )
    judged = exams.join(verdicts, on=["exam_key", "version_no"])
    return judged, {CRITERIA: definitions().criteria[CRITERIA]}
