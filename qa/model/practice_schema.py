"""Schema of practice: how much each operator examines, and what of it no authorisation covers."""

import polars as pl

from qa.model.schemas import Column, Schema

PRACTICE_MONTHS = Schema(
    "practice_months",
    "One row per operator, site and month with performed exams.",
    ("operator_id", "site_id", "month"),
    (
        Column("operator_id", pl.String, "Operator."),
        Column("site_id", pl.String, "Site of the exams."),
        Column("month", pl.Date, "First day of the month."),
        Column("n_performed", pl.Int64, "Performed exams of the month at the site.", "exams"),
        Column(
            "n_year",
            pl.Int64,
            "Performed exams of the operator anywhere in the 12 months that end with it.",
            "exams",
        ),
        Column(
            "is_current",
            pl.Boolean,
            "n_year is at least current_exams_a_year; null before 12 months are known.",
            is_nullable=True,
        ),
        Column(
            "n_outside",
            pl.Int64,
            "Performed exams that no authorisation covers; null while no file was begun.",
            "exams",
            is_nullable=True,
        ),
        Column(
            "n_untold",
            pl.Int64,
            "Exams of which that cannot be told, for want of a probe or a day.",
            "exams",
            is_nullable=True,
        ),
    ),
)
