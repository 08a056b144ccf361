"""One schema for each frame that leaves a stage: grain, key, columns.

Column naming: ids, then dimensions, numbers, flags, times, provenance. Shares are 0 to 1, a
unit stands last in a name, times are UTC, a month is its first day.
"""

from dataclasses import dataclass

import polars as pl

UTC_TIME = pl.Datetime("us", "UTC")


@dataclass(frozen=True)
class Column:
    """One column: its name, type, unit, whether it may be null, and a sentence for people."""

    name: str
    dtype: pl.DataType | type[pl.DataType]
    sentence: str
    unit: str = ""
    is_nullable: bool = False


@dataclass(frozen=True)
class Schema:
    """A frame's promise.

    grain is the sentence "One row per …"; key is what makes a row unique.
    """

    name: str
    grain: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]

    @property
    def names(self) -> list[str]:
        return [column.name for column in self.columns]

    def to_polars(self) -> pl.Schema:
        return pl.Schema({column.name: column.dtype for column in self.columns})

    def empty(self) -> pl.DataFrame:
        return pl.DataFrame(schema=self.to_polars())

    def conform(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Bring a frame to this schema: missing nullable columns become null, order and types fixed.

        Raises: ValueError when a column that may not be null is missing or has nulls (our bug).
        """
        additions = []
        for column in self.columns:
            if column.name not in frame.columns:
                if not column.is_nullable:
                    raise ValueError(f"{self.name}: column {column.name} is missing")
                additions.append(pl.lit(None, dtype=column.dtype).alias(column.name))
        result = frame.with_columns(additions).select(
            pl.col(column.name).cast(column.dtype) for column in self.columns
        )
        for column in self.columns:
            if not column.is_nullable and result[column.name].null_count():
                raise ValueError(f"{self.name}: column {column.name} has nulls")
        return result


def _id(name: str, sentence: str, *, null: bool = False) -> Column:
    return Column(name, pl.String, sentence, is_nullable=null)


def _count(name: str, sentence: str, unit: str = "") -> Column:
    return Column(name, pl.Int64, sentence, unit)


def _number(name: str, unit: str, sentence: str, *, null: bool = True) -> Column:
    return Column(name, pl.Float64, sentence, unit, is_nullable=null)


def _flag(name: str, sentence: str) -> Column:
    return Column(name, pl.Boolean, sentence)


_MONTH = Column("month", pl.Date, "First day of the month of the exam in the site's time zone.")
_CRITERIA = _id("criteria_id", "Criteria set that judged, with its version.")

EXAMS = Schema(
    "exams",
    "One row per accepted version of an exam.",
    ("exam_key", "version_no"),
    (
        _id("exam_key", "Keyed hash of site and the site's exam number."),
        Column("version_no", pl.Int32, "1 for the first version, higher for each correction."),
        _id("patient_key", "Keyed hash of the patient's number, the same in all sites."),
        _id("site_id", "Site that did the exam."),
        _id("operator_id", "Operator's code in the network."),
        _id("device_id", "Device's code in the network."),
        Column("technique", pl.String, "TE, pSWE or 2D-SWE."),
        Column("probe", pl.String, "standard, large-patient, paediatric or unknown."),
        Column("performed", pl.String, "performed, ineligible, refused or not done."),
        Column("not_performed_reason", pl.String, "The site's reason code.", is_nullable=True),
        Column("order_type", pl.String, "first, follow-up, recall, confirmation or unknown."),
        Column("n_attempted", pl.Int32, "Measurements attempted.", is_nullable=True),
        Column("n_valid", pl.Int32, "Valid measurements.", is_nullable=True),
        _number(
            "stiffness_value", "as measured", "Stiffness median in the unit it was measured in."
        ),
        _number("stiffness_iqr", "as measured", "Stiffness IQR in the same unit; never converted."),
        Column("stiffness_unit", pl.String, "kPa or m/s.", is_nullable=True),
        _number(
            "stiffness_kpa", "kPa", "Stiffness median in kPa (3 × (m/s)² where measured in m/s)."
        ),
        _number(
            "stated_ratio_share", "share", "IQR/median as the device states it (already rounded)."
        ),
        _number("attenuation_value", "as measured", "Attenuation median as measured."),
        _number("attenuation_iqr", "as measured", "Attenuation IQR in the same unit."),
        Column("attenuation_unit", pl.String, "dB/m or dB/cm/MHz.", is_nullable=True),
        _number(
            "attenuation_db_m", "dB/m", "Attenuation median in dB/m; null without a frequency."
        ),
        _number(
            "attenuation_iqr_db_m", "dB/m", "Attenuation IQR in dB/m; null without a frequency."
        ),
        _number("fasting_hours", "h", "Hours since the last meal; null where not recorded."),
        Column(
            "fasting_stated", pl.String, "kept or breach where no hours are sent.", is_nullable=True
        ),
        _number("rest_minutes", "min", "Rest before the exam; null where not recorded."),
        Column("position_stated", pl.String, "kept or breach.", is_nullable=True),
        _number("bmi_kg_m2", "kg/m2", "Body-mass index."),
        Column("age_years", pl.Int32, "Age at the exam; 90 and over is 90.", is_nullable=True),
        Column("sex", pl.String, "female, male or unknown."),
        Column(
            "indication", pl.String, "Group of causes, as the profile maps it.", is_nullable=True
        ),
        _number("duration_s", "s", "Duration of the exam."),
        Column(
            "acquisition_mode",
            pl.String,
            "fixed group (taken automatically) or operator's choice (of their count).",
            is_nullable=True,
        ),
        _number("pressure_in_range_share", "share", "Measurements with contact pressure in range."),
        _number("motion_in_range_share", "share", "Measurements with motion in range."),
        _number("roi_depth_mm", "mm", "Depth of the region of interest."),
        _number("quality_index_share", "share", "The device's quality index."),
        _number("skin_to_capsule_mm", "mm", "Distance from skin to liver capsule."),
        Column(
            "measurements",
            pl.List(pl.Float64),
            "Single valid stiffness readings, in their order and in the unit of the median.",
            "as measured",
            is_nullable=True,
        ),
        Column(
            "source_status",
            pl.String,
            "final, amended, entered-in-error or cancelled, as the source says.",
            is_nullable=True,
        ),
        _flag("is_stiffness_censored", "Value at a limit of the device."),
        _flag("is_attenuation_censored", "Value at a limit of the device."),
        _flag("is_date_nominal", "The date stands for a period; no exact date is known."),
        _flag("is_retracted", "The site has withdrawn this exam."),
        Column("exam_at", UTC_TIME, "Start of the exam, UTC."),
        Column("exam_on", pl.Date, "Day of the exam in the site's time zone."),
        _MONTH,
        Column("flags", pl.List(pl.String), "Codes of checks that flagged the row."),
        _id("file_id", "SHA-256 of the source file."),
        Column(
            "row_no", pl.Int32, "Row in the source file; the first row under the headings is 1."
        ),
        _id("profile_id", "Profile and version that mapped the row."),
        _id("row_hash", "Hash of the row's content; equal content is the same version."),
        Column("known_at", UTC_TIME, "When the network came to know this version."),
    ),
)

QUARANTINED = Schema(
    "quarantined",
    "One row per source row that was not accepted.",
    ("file_id", "row_no"),
    (
        _id("file_id", "SHA-256 of the source file."),
        Column(
            "row_no", pl.Int32, "Row in the source file; the first row under the headings is 1."
        ),
        _id("site_id", "Site of the file.", null=True),
        Column("codes", pl.List(pl.String), "Codes of all checks that the row fails."),
        Column("columns", pl.List(pl.String), "Headings concerned, one for each code."),
        Column("found", pl.List(pl.String), "What was found, one for each code; no identifiers."),
        Column("expected", pl.List(pl.String), "What was expected, one for each code."),
        _id("profile_id", "Profile and version in use."),
        Column("known_at", UTC_TIME, "When the row was read."),
        _id("exam_key", "Keyed hash of site and exam number, where both can be read.", null=True),
        _id("patient_key", "Keyed hash of the patient's number, where it can be read.", null=True),
        Column("exam_at", UTC_TIME, "Start of the exam, where it can be read.", is_nullable=True),
    ),
)

RESOLUTIONS = Schema(
    "resolutions",
    "One row per quarantined row that waits no longer; found from the readings, not stored.",
    ("file_id", "row_no"),
    (
        _id("file_id", "SHA-256 of the source file whose row waited."),
        Column("row_no", pl.Int32, "Its row; the first row under the headings is 1."),
        _id("site_id", "Site of the file.", null=True),
        Column("codes", pl.List(pl.String), "Codes with which it was held back last."),
        Column("how", pl.String, "read again, or another file."),
        _id("by_file_id", "SHA-256 of the file whose reading resolved it."),
        _id("profile_id", "Profile and version of that reading.", null=True),
        _id("read_by", "Who had the file read.", null=True),
        Column("known_at", UTC_TIME, "When it was read."),
    ),
)

ROWS_READ = Schema(
    "rows_read",
    "One row per file, site and month of the exams in it, for each reading of the file.",
    ("file_id", "site_id", "month", "known_at"),
    (
        _id("file_id", "SHA-256 of the source file."),
        _id("site_id", "Site of the rows; null where it cannot be told.", null=True),
        Column(
            "month",
            pl.Date,
            "Month of the exams; of rows without a readable date, the month of most rows beside "
            "them, or else the month in which the file was read.",
        ),
        _count("n_rows", "Rows read."),
        _count("n_rows_quarantined", "Rows of these that went to quarantine."),
        Column("known_at", UTC_TIME, "When the file was read."),
    ),
)

REMOVALS = Schema(
    "removals",
    "One row per removal of one person's rows on a lawful request; it does not say whose.",
    ("removed_at",),
    (
        _count("n_exam_versions", "Versions of exams that were removed."),
        _count("n_exams", "Exams that these were versions of."),
        _count("n_quarantined", "Quarantined rows that were removed, in all readings."),
        _count("n_snapshots", "Published snapshots from which exam rows were removed."),
        Column("reason", pl.String, "Why, as stated.", is_nullable=True),
        _id("removed_by", "Who asked the program to do it."),
        Column("removed_at", UTC_TIME, "When."),
    ),
)

FILES = Schema(
    "files",
    "One row per source file that was read or refused.",
    ("file_id", "known_at"),
    (
        _id("file_id", "SHA-256 of the source file."),
        Column("name", pl.String, "File name without its folder."),
        _id("site_id", "Site that sent it; null where rows name their site.", null=True),
        _id("profile_id", "Profile and version in use.", null=True),
        Column("state", pl.String, "read or refused."),
        Column("problem", pl.String, "Why it was refused.", is_nullable=True),
        _count("n_rows", "Rows under the headings."),
        _count("n_accepted", "Rows that entered as a new exam or a new version."),
        _count("n_unchanged", "Rows already known with the same content."),
        _count("n_quarantined", "Rows that wait in quarantine."),
        _count("n_dropped_columns", "Columns that the profile does not let in."),
        Column(
            "n_forgotten",
            pl.Int64,
            "Rows left out because the person's rows were removed on request.",
            is_nullable=True,
        ),
        Column(
            "intake_fingerprint",
            pl.String,
            "Profile, operators, devices and checks that it was read with.",
            is_nullable=True,
        ),
        Column("known_at", UTC_TIME, "When the file was read."),
        _id("read_by", "Who had it read.", null=True),
    ),
)

ASSESSMENTS = Schema(
    "assessments",
    "One row per exam in its current version, judged by the criteria set in force on its date.",
    ("exam_key",),
    (
        _id("exam_key", "Exam."),
        Column("version_no", pl.Int32, "Version that was judged."),
        _CRITERIA,
        Column(
            "outcome",
            pl.String,
            "reliable, unreliable, incomplete, failed, not judged, not performed.",
        ),
        Column(
            "reliability_class",
            pl.String,
            "Finer class where the set defines one.",
            is_nullable=True,
        ),
        Column("attenuation_outcome", pl.String, "reliable, unreliable, not judged, not measured."),
        Column("fasting", pl.String, "kept, breach or not recorded."),
        Column("rest", pl.String, "kept, breach or not recorded."),
        Column("position", pl.String, "kept, breach or not recorded."),
        Column("preparation", pl.String, "All steps that the set asks for together."),
        Column("reasons", pl.List(pl.String), "All reasons why the set is not met, in its order."),
        _number("ratio_share", "share", "IQR/median, unrounded where IQR and median are known."),
        _number("success_share", "share", "Valid over attempted."),
        _id("stiffness_table_id", "Grade table used; null without a band.", null=True),
        Column("stiffness_band", pl.Int32, "Band of the table, 0 is the lowest.", is_nullable=True),
        _id("attenuation_table_id", "Grade table used; null without a band.", null=True),
        Column(
            "attenuation_band", pl.Int32, "Band of the table, 0 is the lowest.", is_nullable=True
        ),
        _flag("is_met", "The whole set is met, preparation included where the set asks for it."),
        _flag(
            "is_repeat", "Same patient again within the window after an exam that was not reliable."
        ),
        Column(
            "repeat_kind",
            pl.String,
            "restart, same-session repeat, recall, confirmation, deferred or follow-up.",
            is_nullable=True,
        ),
        _flag("is_repeat_inferred", "The kind was found from dates, not declared by the site."),
        Column(
            "is_repeated",
            pl.Boolean,
            "Of an exam that was not reliable: examined again within the window; null before its end.",
            is_nullable=True,
        ),
        _flag("is_session_first", "No same-session repeat: the first exam of its session."),
        _flag("is_session_final", "No same-session repeat follows: the last exam of its session."),
    ),
)

COUNT_DIMENSIONS: tuple[Column, ...] = (
    _id("site_id", "Site."),
    _id("operator_id", "Operator."),
    _id("device_id", "Device."),
    Column("probe", pl.String, "Probe."),
    Column("technique", pl.String, "Technique."),
    _MONTH,
    _CRITERIA,
)

COUNT_COLUMNS: tuple[Column, ...] = (
    _count("n_exams", "All exams, performed or not."),
    _count("n_performed", "Exams started."),
    _count("n_ineligible", "Not started: ineligible."),
    _count("n_refused", "Not started: refused."),
    _count("n_not_done", "Not started for another reason."),
    _count(
        "n_judged", "Performed exams with a verdict: reliable, unreliable, incomplete or failed."
    ),
    _count("n_reliable", "Outcome reliable."),
    _count("n_unreliable", "Outcome unreliable."),
    _count("n_incomplete", "Outcome incomplete."),
    _count("n_failed", "Outcome failed."),
    _count("n_not_judged", "Performed, but a needed figure was not sent."),
    _count("n_measured", "Judged exams with enough valid measurements: reliable or unreliable."),
    _count("n_met", "Exams that meet the whole set."),
    _count("n_attenuation_judged", "Attenuation reliable or unreliable."),
    _count("n_attenuation_reliable", "Attenuation reliable."),
    _count("n_attenuation_unreliable", "Attenuation unreliable."),
    _count("n_fasting_recorded", "Fasting kept or breach."),
    _count("n_fasting_kept", "Fasting kept."),
    _count("n_fasting_breach", "Fasting breach."),
    _count("n_preparation_recorded", "Every preparation step that the set asks for is recorded."),
    _count("n_preparation_kept", "Every preparation step that the set asks for is kept."),
    _count("n_preparation_breach", "At least one step of the preparation not kept."),
    _count("n_repeats", "Repeats."),
    _count("n_large_patient_probe", "Performed with the large-patient probe."),
    _count("n_stiffness_graded", "Performed exams with a stiffness band."),
    _count("n_stiffness_raised", "Stiffness above the lowest band of the table in use."),
    _count("n_attenuation_graded", "Performed exams with an attenuation band."),
    _count("n_attenuation_raised", "Attenuation above the lowest band of the table in use."),
    _count("n_with_ratio", "Judged exams with an IQR/median above 0."),
    _count("sum_ln_ratio_micro", "Sum of ln(IQR/median) in millionths; integers add up exactly."),
    _count("sumsq_ln_ratio_micro", "Sum of ln(IQR/median) squared, in millionths."),
    _count("n_with_duration", "Performed exams whose duration was sent, above 0."),
    _count("sum_ln_duration_micro", "Sum of ln(duration in seconds) of these, in millionths."),
    _count("sumsq_ln_duration_micro", "Sum of ln(duration in seconds) squared, in millionths."),
    _count("sum_valid", "Sum of valid measurements of exams in n_with_attempts."),
    _count("sum_attempted", "Sum of attempted measurements where sent, of restarted tries too."),
    _count(
        "n_with_attempts",
        "Performed exams whose attempts were sent and were not a fixed group of the device.",
    ),
    _count(
        "n_chosen_with_success",
        "Performed exams with a success rate whose number of measurements the operator chose.",
    ),
    _count("n_chosen_low_success", "Of these, exams with a success rate below 60 %."),
    _count(
        "n_fixed_with_success",
        "Performed exams with a success rate that were a fixed group, taken automatically.",
    ),
    _count("n_fixed_low_success", "Of these, exams with a success rate below 60 %."),
    _count(
        "n_unstated_with_success",
        "Performed exams with a success rate whose acquisition mode was not sent.",
    ),
    _count("n_unstated_low_success", "Of these, exams with a success rate below 60 %."),
    _count("n_restarted", "Tries that were started again; in no other count of exams."),
    _count("n_same_session", "Same-session repeats."),
    _count("n_recalls", "Recalls."),
    _count("n_confirmations", "Confirmations."),
    _count("n_deferred", "Deferred exams."),
    _count("n_follow_ups", "Follow-ups."),
    _count("n_kind_inferred", "Repeats of any kind that were found from dates, not declared."),
    _count("n_first_pass_judged", "Judged exams that are the first of their session."),
    _count("n_first_pass_reliable", "Reliable exams that are the first of their session."),
    _count("n_final_judged", "Judged exams that are the last of their session."),
    _count("n_final_reliable", "Reliable exams that are the last of their session."),
    _count("n_window_over", "Exams not reliable whose window for a repeat is over."),
    _count("n_never_repeated", "Of these, exams that were not repeated within the window."),
)

MONTHLY_COUNTS = Schema(
    "monthly_counts",
    "One row per site, operator, device, probe, technique, month and criteria set.",
    tuple(column.name for column in COUNT_DIMENSIONS),
    COUNT_DIMENSIONS + COUNT_COLUMNS,
)

ROW_COUNT_COLUMNS: tuple[Column, ...] = (
    _count("n_rows", "Rows read, at the newest reading of each file.", "rows"),
    _count("n_rows_quarantined", "Rows of these that were held back in quarantine.", "rows"),
)

ROW_COUNTS = Schema(
    "row_counts",
    "One row per site, month of the exams and criteria set in force: rows read and held back.",
    ("site_id", "month", "criteria_id"),
    (
        _id("site_id", "Site of the rows; null where it cannot be told.", null=True),
        _MONTH,
        _id("criteria_id", "Criteria set in force at the month's end; it judged none of them."),
        *ROW_COUNT_COLUMNS,
    ),
)

GRADE_COUNTS = Schema(
    "grade_counts",
    "One row per cell of the monthly counts, quantity, grade table and band.",
    (*(column.name for column in COUNT_DIMENSIONS), "quantity", "table_id", "band"),
    (
        *COUNT_DIMENSIONS,
        Column("quantity", pl.String, "stiffness or attenuation."),
        _id("table_id", "Grade table."),
        Column("band", pl.Int32, "Band of the table, 0 is the lowest."),
        _count("n_exams", "Exams in the band."),
    ),
)

_UNIT: tuple[Column, ...] = (
    Column("unit_kind", pl.String, "network, site, operator or device."),
    _id("unit_id", "Its id; 'network' for the network."),
    _id("site_id", "Site; an operator's or device's home site; null for the network.", null=True),
    _id("measure_id", "Measure, for example MSR-002."),
    _CRITERIA,
)

MEASURE_VALUES = Schema(
    "measure_values",
    "One row per unit, measure, criteria set and month with exams.",
    ("unit_kind", "unit_id", "measure_id", "criteria_id", "month"),
    (
        *_UNIT,
        _MONTH,
        _count("n_events", "Numerator."),
        _count("n", "Denominator."),
        _number("value", "share", "n_events / n; null where n is 0."),
        _number("lower", "share", "Lower end of the Wilson 95 % interval."),
        _number("upper", "share", "Upper end of the Wilson 95 % interval."),
        _number("expected", "exams", "Events expected of these patients; null where not adjusted."),
        _id("model_id", "Model that expects them.", null=True),
    ),
)

BASELINES = Schema(
    "baselines",
    "One row per frozen baseline; a re-set is a new row.",
    ("baseline_id",),
    (
        _id("baseline_id", "Stable id."),
        *_UNIT,
        Column("from_month", pl.Date, "First month of the baseline."),
        Column("to_month", pl.Date, "Last month of the baseline."),
        Column(
            "judges_from",
            pl.Date,
            "First month that is drawn against it; null: the month after its last.",
            is_nullable=True,
        ),
        Column(
            "version_no",
            pl.Int64,
            "1 for the series' first baseline, higher for each one set after it.",
            is_nullable=True,
        ),
        _count("n_months", "Months with exams in the baseline, without those taken out."),
        _count("n_events", "Numerator over the baseline."),
        _count("n", "Denominator over the baseline."),
        _number("centre", "share", "n_events / n.", null=False),
        Column(
            "removed_months",
            pl.List(pl.String),
            "Months taken out because they lay outside their own limits.",
            is_nullable=True,
        ),
        Column(
            "is_unsteady",
            pl.Boolean,
            "More than a quarter of the months lay outside, so none was taken out.",
            is_nullable=True,
        ),
        _id("set_by", "Who froze it."),
        Column("reason", pl.String, "Why."),
        Column("set_at", UTC_TIME, "When it was frozen."),
    ),
)

CHART_POINTS = Schema(
    "chart_points",
    "One row per point of a control chart.",
    ("unit_kind", "unit_id", "measure_id", "criteria_id", "month"),
    (
        *MEASURE_VALUES.columns,
        Column("chart_kind", pl.String, "p: share of exams a month."),
        _id(
            "baseline_id", "Baseline that gave the limits; null where there is none yet.", null=True
        ),
        Column("baseline_from", pl.String, "own, network or none."),
        Column("phase", pl.String, "baseline or monitoring."),
        _number("centre", "share", "Centre line."),
        _number("lcl", "share", "Lower control limit."),
        _number("ucl", "share", "Upper control limit."),
        Column("limit_method", pl.String, "exact binomial or three sigma."),
        Column("rules", pl.List(pl.String), "Codes of the chart rules that the point breaks."),
        _number(
            "evidence",
            "log likelihood",
            "Evidence summed so far for a lasting change on the bad side.",
        ),
        _number("evidence_limit", "log likelihood", "Evidence at which an item opens (RUL-006)."),
        Column("evidence_months", pl.Int64, "Months that the evidence has run.", is_nullable=True),
        Column(
            "equipment_from",
            pl.Date,
            "First month with the devices of then, where the measure depends on them.",
            is_nullable=True,
        ),
        _number("target", "share", "The network's target in force; no limit."),
        Column(
            "target_verdict",
            pl.String,
            "on target, off target, in control but off target, or too few exams to say.",
            is_nullable=True,
        ),
        Column("state", pl.String, "look, watch, steady or few."),
    ),
)

FUNNEL_POINTS = Schema(
    "funnel_points",
    "One row per unit in a funnel over a period.",
    ("unit_kind", "unit_id", "measure_id", "criteria_id", "to_month"),
    (
        *_UNIT,
        Column("from_month", pl.Date, "First month of the period."),
        Column("to_month", pl.Date, "Last month of the period."),
        _count("n_events", "Numerator."),
        _count("n", "Denominator."),
        _number("value", "share", "n_events / n; null where n is 0."),
        _number("lower", "share", "Lower end of the Wilson 95 % interval."),
        _number("upper", "share", "Upper end of the Wilson 95 % interval."),
        _number("centre", "share", "Share over all units."),
        _number("lcl95", "share", "Exact 95 % limit."),
        _number("ucl95", "share", "Exact 95 % limit."),
        _number("lcl998", "share", "Exact 99.8 % limit."),
        _number("ucl998", "share", "Exact 99.8 % limit."),
        _number(
            "expected",
            "exams",
            "Events expected of the unit's patients at the level of all units; null: not adjusted.",
        ),
        _number("ratio", "ratio", "Found over expected (O/E)."),
        _number("ratio_lower", "ratio", "Lower end of its exact 95 % interval."),
        _number("ratio_upper", "ratio", "Upper end of its exact 95 % interval."),
        _number("adjusted", "share", "Indirectly standardised share: O/E times that of all units."),
        _number("shrunken", "share", "The same, drawn to the mean the less it rests on."),
        _number("shrunken_lower", "share", "Lower end of its 95 % interval."),
        _number("shrunken_upper", "share", "Upper end of its 95 % interval."),
        _number("phi", "", "Spread between units over that of chance, extremes drawn in."),
        _number("tau2", "", "Variance between units beyond chance, arcsine square-root scale."),
        Column("state", pl.String, "look, watch, steady or few."),
    ),
)

SIGNALS = Schema(
    "signals",
    "One row per unit, measure and month in which a rule fired.",
    ("signal_id",),
    (
        _id("signal_id", "Stable id: the same signal has the same id in every refresh."),
        *_UNIT,
        _MONTH,
        Column("since_month", pl.Date, "Most likely first month of the change."),
        Column(
            "since_first",
            pl.Date,
            "First month in which it may have begun (nine tenths).",
            is_nullable=True,
        ),
        Column("since_last", pl.Date, "Last month in which it may have begun.", is_nullable=True),
        Column(
            "last_seen_month",
            pl.Date,
            "Month whose exams the signal speaks of; earlier where the unit has sent none since.",
            is_nullable=True,
        ),
        _id(
            "item_id",
            "Stable id of the item, signals of one cause, from month to month.",
            null=True,
        ),
        Column(
            "opened_month",
            pl.Date,
            "First month in which the item stood on the list.",
            is_nullable=True,
        ),
        Column("rules", pl.List(pl.String), "Codes of the rules that fired, for example RUL-001."),
        Column("direction", pl.String, "higher or lower than expected."),
        _count("n_events", "Numerator since since_month."),
        _count("n", "Denominator since since_month."),
        _number("value", "share", "n_events / n since since_month.", null=False),
        _number("centre", "share", "Share expected.", null=False),
        _number("expected", "exams", "Events expected since since_month.", null=False),
        _number("at_stake", "exams", "Observed minus expected, in the bad direction.", null=False),
        _number("at_stake_lower", "exams", "Lower end, from the Wilson interval.", null=False),
        _number("at_stake_upper", "exams", "Upper end, from the Wilson interval.", null=False),
        Column(
            "rank",
            pl.Int32,
            "Place in the month's list, 1 is most at stake; 0: explained by another.",
        ),
        _id("explained_by", "Signal of the same cause that stands for this one.", null=True),
        Column("finding", pl.String, "What is so, in words."),
        Column("evidence", pl.String, "What the rule saw, in words."),
        Column("how_sure", pl.String, "How often chance alone shows as much, in words."),
        Column("probably_not", pl.String, "What speaks against other explanations, in words."),
        Column("suggestion", pl.String, "What to look at or do next, in words."),
    ),
)

SIGHTINGS = Schema(
    "sightings",
    "One row per row of a file that held a known version of an exam unchanged.",
    ("exam_key", "version_no", "file_id"),
    (
        _id("exam_key", "Exam."),
        Column("version_no", pl.Int32, "The version that the row equals."),
        _id("file_id", "The file that held it again."),
        Column("row_no", pl.Int32, "Row in that file."),
        Column("known_at", UTC_TIME, "When the row was read."),
    ),
)

WITHDRAWALS = Schema(
    "withdrawals",
    "One row per decision that a file of a site does not count, or counts again; the newest "
    "decides.",
    ("file_id", "known_at"),
    (
        _id("file_id", "SHA-256 of the source file."),
        _id("site_id", "Site under which it was read; null: its rows name it.", null=True),
        _flag("is_withdrawn", "True: none of its rows counts from now on."),
        Column("reason", pl.String, "Why, in words."),
        _id("decided_by", "Who decided.", null=True),
        Column("known_at", UTC_TIME, "When it was decided."),
    ),
)

MONTH_CLOSES = Schema(
    "month_closes",
    "One row per closed month; what arrives later is a restatement.",
    ("month",),
    (
        Column("month", pl.Date, "First day of the month."),
        _id("closed_by", "Who closed it.", null=True),
        Column("known_at", UTC_TIME, "When it was closed."),
    ),
)

INTAKE_MONTHS = Schema(
    "intake_months",
    "One row per site and month: what came in, against what was expected.",
    ("site_id", "month"),
    (
        _id("site_id", "Site."),
        _MONTH,
        _count("n_exams", "Exams of the month that are in, retracted ones left out."),
        _count("n_retracted", "Exams of the month that the site has cancelled."),
        _number("expected_exams", "exams", "Mean of the site's last months; null with too few."),
        _number("thin_below", "exams", "Fewer exams than this are suddenly thin."),
        Column("expected_on", pl.Date, "Day by which the month's file is expected."),
        Column("last_exam_on", pl.Date, "Day of the last exam that is in.", is_nullable=True),
        Column("state", pl.String, "in, thin, partial, late, not due or running."),
        Column("sentence", pl.String, "The state in words."),
        _flag("is_closed", "The month was closed."),
        Column("closed_at", UTC_TIME, "When the month was closed.", is_nullable=True),
        _count("n_came_later", "Restated: exams that came in after the month was closed."),
        _count("n_changed_later", "Restated: exams that were changed after it was closed."),
        _count("n_left_later", "Restated: exams that were taken out after it was closed."),
        Column("first_in_at", UTC_TIME, "When its first exam came in.", is_nullable=True),
    ),
)

ALL_SCHEMAS: tuple[Schema, ...] = (
    EXAMS,
    QUARANTINED,
    RESOLUTIONS,
    ROWS_READ,
    REMOVALS,
    FILES,
    ASSESSMENTS,
    MONTHLY_COUNTS,
    ROW_COUNTS,
    GRADE_COUNTS,
    MEASURE_VALUES,
    BASELINES,
    CHART_POINTS,
    FUNNEL_POINTS,
    SIGNALS,
    SIGHTINGS,
    WITHDRAWALS,
    MONTH_CLOSES,
    INTAKE_MONTHS,
)
