"""Schemas of the fair comparison: who was examined, the models, and what they expect."""

import polars as pl

from qa.model.schemas import UTC_TIME, Column, Schema

COVARIATES: tuple[Column, ...] = (
    Column("bmi", pl.String, "Class of body-mass index, or unknown."),
    Column("age", pl.String, "Band of age, or unknown."),
    Column("sex", pl.String, "female, male or unknown."),
    Column("probe", pl.String, "standard, large-patient, paediatric or unknown."),
    Column("technique", pl.String, "TE, pSWE or 2D-SWE."),
    Column("indication", pl.String, "Group of causes as the profile maps it, or unknown."),
    Column(
        "occasion",
        pl.String,
        "first; again (same-session repeat, recall); planned (confirmation, deferred, follow-up).",
    ),
)

COVARIATE_WORDS: dict[str, str] = {
    "bmi": "body-mass index",
    "age": "age",
    "sex": "sex",
    "probe": "probe",
    "technique": "technique",
    "indication": "indication",
    "occasion": "first or repeated exam",
}
"""Covariates as screens name them."""

CASE_MIX_COLUMNS: tuple[str, ...] = (
    "n_performed",
    "n_judged",
    "n_reliable",
    "n_unreliable",
    "n_incomplete",
    "n_failed",
    "n_measured",
    "n_attenuation_judged",
    "n_attenuation_unreliable",
    "n_repeats",
    "n_large_patient_probe",
    "n_stiffness_graded",
    "n_stiffness_raised",
    "n_attenuation_graded",
    "n_attenuation_raised",
    "n_first_pass_judged",
    "n_first_pass_reliable",
)
"""Columns of the monthly counts that measures with an adjustment are made of."""

_MONTH = Column("month", pl.Date, "First day of the month of the exams.")
_CRITERIA = Column("criteria_id", pl.String, "Criteria set that judged, with its version.")
_MEASURE = Column("measure_id", pl.String, "Measure, for example MSR-001.")
_MODEL = Column("model_id", pl.String, "Model, for example MSR-001.classic.v1.M1.")


def _share(name: str, sentence: str, *, null: bool = True) -> Column:
    return Column(name, pl.Float64, sentence, "share", is_nullable=null)


def _number(name: str, sentence: str, unit: str = "", *, null: bool = True) -> Column:
    return Column(name, pl.Float64, sentence, unit, is_nullable=null)


def _count(name: str, sentence: str) -> Column:
    return Column(name, pl.Int64, sentence)


CASE_MIX_COUNTS = Schema(
    "case_mix_counts",
    "One row per month, criteria set and kind of patient and exam, over the whole network.",
    ("month", "criteria_id", *(column.name for column in COVARIATES)),
    (
        _MONTH,
        _CRITERIA,
        *COVARIATES,
        *(_count(name, "As in the monthly counts.") for name in CASE_MIX_COLUMNS),
    ),
)

RISK_MODELS = Schema(
    "risk_models",
    "One row per frozen model of expected events; a newer version is a new row.",
    ("model_id",),
    (
        _MODEL,
        _MEASURE,
        _CRITERIA,
        Column("version_no", pl.Int32, "1 for the first model of the measure."),
        Column("adjustment_id", pl.String, "Definition that says what is adjusted for."),
        Column("fingerprint", pl.String, "Hash of definition, period and coefficients."),
        Column("from_month", pl.Date, "First month that it was fitted on."),
        Column("to_month", pl.Date, "Last month that it was fitted on."),
        Column("in_force_from", pl.Date, "First month whose exams it judges."),
        _count("n_exams", "Exams that it was fitted on."),
        _count("n_events", "Events among them."),
        _count("n_cells", "Kinds of patients and exams among them."),
        _number("deviance", "Deviance of single exams.", null=False),
        Column("set_by", pl.String, "Who froze it."),
        Column("reason", pl.String, "Why."),
        Column("set_at", UTC_TIME, "When it was frozen."),
    ),
)

RISK_COEFFICIENTS = Schema(
    "risk_coefficients",
    "One row per model, covariate and level; the intercept is a covariate of its own.",
    ("model_id", "covariate", "level"),
    (
        _MODEL,
        Column("covariate", pl.String, "Covariate, or intercept."),
        Column("level", pl.String, "Its level; empty for the intercept."),
        Column("role", pl.String, "estimated, reference, folded or not separable."),
        _number("coefficient", "Log odds against the reference; 0 unless estimated.", null=False),
        _number("standard_error", "Of the coefficient; null unless estimated."),
        _count("n_exams", "Exams of the level that it was fitted on."),
        _count("n_events", "Events among them."),
    ),
)

EXPECTED_COUNTS = Schema(
    "expected_counts",
    "One row per site, operator, month, measure and model: events found and expected.",
    ("site_id", "operator_id", "month", "criteria_id", "measure_id", "model_id"),
    (
        Column("site_id", pl.String, "Site."),
        Column("operator_id", pl.String, "Operator."),
        _MONTH,
        _CRITERIA,
        _MEASURE,
        _MODEL,
        _count("n_events", "Numerator."),
        _count("n", "Denominator."),
        _count(
            "expected_micro", "Events that the model expects, in millionths; they add up exactly."
        ),
        _count("variance_micro", "Variance of that number by chance, in millionths."),
    ),
)

RISK_QUALITY = Schema(
    "risk_quality",
    "One row per model and period: how well it fits.",
    ("model_id", "period"),
    (
        _MODEL,
        Column("period", pl.String, "fit (what it was fitted on) or since (later months)."),
        _count("n_exams", "Exams."),
        _count("n_events", "Events found."),
        _number("expected", "Events expected.", "exams", null=False),
        _share("c_statistic", "Chance that an exam with the event had the higher expectation."),
        _number("intercept", "Calibration in the large: log odds found over expected."),
        _number("slope", "Calibration slope: 1 is right, less is too extreme."),
    ),
)

RISK_CALIBRATION = Schema(
    "risk_calibration",
    "One row per model, period and tenth of exams by what was expected of them.",
    ("model_id", "period", "band"),
    (
        _MODEL,
        Column("period", pl.String, "fit or since."),
        Column("band", pl.Int32, "1 holds the exams with least expected."),
        _count("n_exams", "Exams."),
        _share("expected", "Share expected.", null=False),
        _share("observed", "Share found.", null=False),
    ),
)

CASE_MIX_SCHEMAS: tuple[Schema, ...] = (
    CASE_MIX_COUNTS,
    RISK_MODELS,
    RISK_COEFFICIENTS,
    EXPECTED_COUNTS,
    RISK_QUALITY,
    RISK_CALIBRATION,
)
