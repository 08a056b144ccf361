"""The schema of training and service needs."""

import polars as pl

from qa.model.schemas import Column, Schema

NEEDS = Schema(
    "needs",
    "One row per operator or device that needs something in the last published month.",
    ("unit_kind", "unit_id"),
    (
        Column("month", pl.Date, "Month that the need was seen in."),
        Column("rank", pl.Int32, "Place among operators, or among devices; 1 is most at stake."),
        Column("unit_kind", pl.String, "operator or device."),
        Column("unit_id", pl.String, "Its id."),
        Column("site_id", pl.String, "Home site.", is_nullable=True),
        Column("item_ids", pl.List(pl.String), "Items that it rests on; none: thin practice."),
        Column("what", pl.String, "What to do, in words."),
        Column("reason", pl.String, "Why, in words."),
        Column(
            "at_stake",
            pl.Float64,
            "Observed minus expected over its items, which may overlap.",
            unit="exams",
        ),
        Column("n_year", pl.Int64, "Exams in the twelve months that end with the month."),
        Column("n_all", pl.Int64, "Exams since the first export."),
        Column("newest_month", pl.Date, "Month of the newest exam.", is_nullable=True),
    ),
)
