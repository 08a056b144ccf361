-- The tables and views of a warehouse of schema version 1. Frozen: never edit.
CREATE TABLE files ("file_id" VARCHAR NOT NULL, "name" VARCHAR NOT NULL, "site_id" VARCHAR,
"profile_id" VARCHAR, "state" VARCHAR NOT NULL, "problem" VARCHAR, "n_rows" BIGINT NOT NULL,
"n_accepted" BIGINT NOT NULL, "n_unchanged" BIGINT NOT NULL, "n_quarantined" BIGINT NOT NULL,
"n_dropped_columns" BIGINT NOT NULL, "intake_fingerprint" VARCHAR, "known_at" TIMESTAMPTZ NOT
NULL, "file_seq" BIGINT NOT NULL);
CREATE TABLE exams ("exam_key" VARCHAR NOT NULL, "version_no" INTEGER NOT NULL, "patient_key"
VARCHAR NOT NULL, "site_id" VARCHAR NOT NULL, "operator_id" VARCHAR NOT NULL, "device_id" VARCHAR
NOT NULL, "technique" VARCHAR NOT NULL, "probe" VARCHAR NOT NULL, "performed" VARCHAR NOT NULL,
"not_performed_reason" VARCHAR, "order_type" VARCHAR NOT NULL, "n_attempted" INTEGER, "n_valid"
INTEGER, "stiffness_value" DOUBLE, "stiffness_iqr" DOUBLE, "stiffness_unit" VARCHAR,
"stiffness_kpa" DOUBLE, "stated_ratio_share" DOUBLE, "attenuation_value" DOUBLE, "attenuation_iqr"
DOUBLE, "attenuation_unit" VARCHAR, "attenuation_db_m" DOUBLE, "attenuation_iqr_db_m" DOUBLE,
"fasting_hours" DOUBLE, "fasting_stated" VARCHAR, "rest_minutes" DOUBLE, "position_stated"
VARCHAR, "bmi_kg_m2" DOUBLE, "age_years" INTEGER, "sex" VARCHAR NOT NULL, "indication" VARCHAR,
"duration_s" DOUBLE, "is_stiffness_censored" BOOLEAN NOT NULL, "is_attenuation_censored" BOOLEAN
NOT NULL, "is_date_nominal" BOOLEAN NOT NULL, "is_retracted" BOOLEAN NOT NULL, "exam_at"
TIMESTAMPTZ NOT NULL, "exam_on" DATE NOT NULL, "month" DATE NOT NULL, "flags" VARCHAR[] NOT NULL,
"file_id" VARCHAR NOT NULL, "row_no" INTEGER NOT NULL, "profile_id" VARCHAR NOT NULL, "row_hash"
VARCHAR NOT NULL, "known_at" TIMESTAMPTZ NOT NULL, "file_seq" BIGINT NOT NULL);
CREATE TABLE quarantined ("file_id" VARCHAR NOT NULL, "row_no" INTEGER NOT NULL, "site_id"
VARCHAR, "codes" VARCHAR[] NOT NULL, "columns" VARCHAR[] NOT NULL, "found" VARCHAR[] NOT NULL,
"expected" VARCHAR[] NOT NULL, "profile_id" VARCHAR NOT NULL, "known_at" TIMESTAMPTZ NOT NULL,
"file_seq" BIGINT NOT NULL);
CREATE TABLE assessments ("exam_key" VARCHAR NOT NULL, "version_no" INTEGER NOT NULL,
"criteria_id" VARCHAR NOT NULL, "outcome" VARCHAR NOT NULL, "reliability_class" VARCHAR,
"attenuation_outcome" VARCHAR NOT NULL, "fasting" VARCHAR NOT NULL, "rest" VARCHAR NOT NULL,
"position" VARCHAR NOT NULL, "preparation" VARCHAR NOT NULL, "reasons" VARCHAR[] NOT NULL,
"ratio_share" DOUBLE, "success_share" DOUBLE, "stiffness_table_id" VARCHAR, "stiffness_band"
INTEGER, "attenuation_table_id" VARCHAR, "attenuation_band" INTEGER, "is_met" BOOLEAN NOT NULL,
"is_repeat" BOOLEAN NOT NULL, "refresh_seq" BIGINT NOT NULL);
CREATE TABLE monthly_counts ("site_id" VARCHAR NOT NULL, "operator_id" VARCHAR NOT NULL,
"device_id" VARCHAR NOT NULL, "probe" VARCHAR NOT NULL, "technique" VARCHAR NOT NULL, "month" DATE
NOT NULL, "criteria_id" VARCHAR NOT NULL, "n_exams" BIGINT NOT NULL, "n_performed" BIGINT NOT
NULL, "n_ineligible" BIGINT NOT NULL, "n_refused" BIGINT NOT NULL, "n_not_done" BIGINT NOT NULL,
"n_judged" BIGINT NOT NULL, "n_reliable" BIGINT NOT NULL, "n_unreliable" BIGINT NOT NULL,
"n_incomplete" BIGINT NOT NULL, "n_failed" BIGINT NOT NULL, "n_not_judged" BIGINT NOT NULL,
"n_measured" BIGINT NOT NULL, "n_met" BIGINT NOT NULL, "n_attenuation_judged" BIGINT NOT NULL,
"n_attenuation_reliable" BIGINT NOT NULL, "n_attenuation_unreliable" BIGINT NOT NULL,
"n_fasting_recorded" BIGINT NOT NULL, "n_fasting_kept" BIGINT NOT NULL, "n_fasting_breach" BIGINT
NOT NULL, "n_preparation_recorded" BIGINT NOT NULL, "n_preparation_kept" BIGINT NOT NULL,
"n_preparation_breach" BIGINT NOT NULL, "n_repeats" BIGINT NOT NULL, "n_large_patient_probe"
BIGINT NOT NULL, "n_stiffness_graded" BIGINT NOT NULL, "n_stiffness_raised" BIGINT NOT NULL,
"n_attenuation_graded" BIGINT NOT NULL, "n_attenuation_raised" BIGINT NOT NULL, "n_with_ratio"
BIGINT NOT NULL, "sum_ln_ratio_micro" BIGINT NOT NULL, "sumsq_ln_ratio_micro" BIGINT NOT NULL,
"sum_valid" BIGINT NOT NULL, "sum_attempted" BIGINT NOT NULL, "refresh_seq" BIGINT NOT NULL);
CREATE TABLE grade_counts ("site_id" VARCHAR NOT NULL, "operator_id" VARCHAR NOT NULL, "device_id"
VARCHAR NOT NULL, "probe" VARCHAR NOT NULL, "technique" VARCHAR NOT NULL, "month" DATE NOT NULL,
"criteria_id" VARCHAR NOT NULL, "quantity" VARCHAR NOT NULL, "table_id" VARCHAR NOT NULL, "band"
INTEGER NOT NULL, "n_exams" BIGINT NOT NULL, "refresh_seq" BIGINT NOT NULL);
CREATE TABLE baselines ("baseline_id" VARCHAR NOT NULL, "unit_kind" VARCHAR NOT NULL, "unit_id"
VARCHAR NOT NULL, "site_id" VARCHAR, "measure_id" VARCHAR NOT NULL, "criteria_id" VARCHAR NOT
NULL, "from_month" DATE NOT NULL, "to_month" DATE NOT NULL, "n_months" BIGINT NOT NULL, "n_events"
BIGINT NOT NULL, "n" BIGINT NOT NULL, "centre" DOUBLE NOT NULL, "set_by" VARCHAR NOT NULL,
"reason" VARCHAR NOT NULL, "set_at" TIMESTAMPTZ NOT NULL);
CREATE TABLE meta (meta_seq BIGINT NOT NULL, key VARCHAR NOT NULL, value VARCHAR NOT NULL);
CREATE TABLE refreshes (refresh_seq BIGINT NOT NULL, refresh_id VARCHAR NOT NULL, refreshed_at
TIMESTAMPTZ NOT NULL, rules_fingerprint VARCHAR NOT NULL, up_to_file_seq BIGINT NOT NULL);
CREATE TABLE refresh_months (refresh_seq BIGINT NOT NULL, month DATE NOT NULL);
CREATE VIEW current_exams AS SELECT * FROM exams AS exam WHERE NOT EXISTS ( SELECT 1 FROM exams AS
newer WHERE newer.version_no > 1 AND newer.exam_key = exam.exam_key AND newer.version_no >
exam.version_no);
CREATE VIEW current_quarantined AS SELECT waiting.* FROM quarantined AS waiting SEMI JOIN (SELECT
file_id, max(file_seq) AS file_seq FROM files WHERE state = 'read' GROUP BY file_id) USING
(file_id, file_seq);
CREATE VIEW current_months AS SELECT month, max(refresh_seq) AS refresh_seq FROM refresh_months
GROUP BY month;
CREATE VIEW current_assessments AS SELECT judged.*, exam.month FROM assessments AS judged JOIN
exams AS exam USING (exam_key, version_no) SEMI JOIN current_months USING (month, refresh_seq);
