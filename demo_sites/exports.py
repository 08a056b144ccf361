"""Records → the files that sites send: one file per site and month, in the site's shape."""

import hashlib
from pathlib import Path

import numpy as np
import polars as pl

from demo_sites.names import family_names, given_names
from demo_sites.patients import INDICATIONS, Columns
from demo_sites.planted import ActiveEvents
from demo_sites.records import ORDER_WORDS, PERFORMED_WORDS, PROBES, REASONS, TECHNIQUES
from demo_sites.scenario import Scenario
from demo_sites.shapes import Shape, shape_by_id

_CODED: dict[str, tuple[str, ...]] = {
    "technique": TECHNIQUES,
    "probe": PROBES,
    "performed": PERFORMED_WORDS,
    "order_type": ORDER_WORDS,
    "sex": ("female", "male"),
    "indication": INDICATIONS,
    "not_performed_reason": REASONS,
}
_WHOLE = ("n_attempted", "n_valid", "age_years", "height_cm", "duration_s", "rest_minutes")
_DECIMAL = ("stiffness_value", "stiffness_iqr", "fasting_hours", "bmi", "weight_kg")
_COMMENTS = (
    "invented note: patient anxious",
    'invented note: "felt well", came late',
    "invented note; interpreter needed",
    "invented note | scar on the right side",
    "invented note: lively child",
    "invented note, narrow ribs; second try",
)


def number_records(records: pl.DataFrame, events: ActiveEvents, scenario: Scenario) -> pl.DataFrame:
    """Add exam and patient numbers, each exam's file and row, and whether it was sent."""
    late = pl.lit(False)
    for active in events.of_kind("late_site"):
        late = late | (
            (pl.col("site_id") == active.event.site)
            & (pl.col("day") >= active.from_day)
            & (pl.col("day") < active.before_day)
        )
    running = pl.int_range(1, pl.len() + 1).over("site_id")
    prefix = pl.Series([site.id for site in scenario.sites])
    number = pl.Series([f"{k + 1:02d}" for k in range(len(scenario.sites))])
    month = pl.col("month").dt.strftime("%Y-%m")
    name = pl.format("{}_{}.csv", "site_id", month)
    return records.with_columns(
        pl.format(
            "{}-{}",
            pl.col("site_id").replace_strict(prefix, number),
            running.cast(pl.String).str.zfill(6),
        ).alias("exam_no"),
        pl.format(
            "N{}",
            ((pl.col("patient") * 791_933 + 104_729) % 10_000_019).cast(pl.String).str.zfill(8),
        ).alias("patient_no"),
        pl.format("incoming/{}/{}", "site_id", name).alias("source_file"),
        pl.int_range(1, pl.len() + 1).over("site_id", "month").cast(pl.Int32).alias("row_no"),
        (~late).alias("is_sent"),
    )


def write_exports(
    folder: Path,
    records: pl.DataFrame,
    patients: Columns,
    *,
    scenario: Scenario,
    rng: np.random.Generator,
) -> list[dict[str, str | int]]:
    """Write all files that were sent.

    Returns: one entry per file: file, sha256, n_rows.
    """
    n = len(patients["site"])
    people = pl.DataFrame(
        {
            "given_name": given_names(rng, n),
            "family_name": family_names(rng, n),
            "birth_day": patients["birth_day"],
        }
    )
    written: list[dict[str, str | int]] = []
    sent = records.filter(pl.col("is_sent"))
    for site in scenario.sites:
        shape = shape_by_id(site.shape)
        here = sent.filter(pl.col("site_id") == site.id)
        here = pl.concat([here, people[here["patient"].to_numpy()]], how="horizontal")
        text = as_written(here, shape)
        (folder / "incoming" / site.id).mkdir(parents=True, exist_ok=True)
        for part in text.partition_by("source_file", maintain_order=True):
            name = part["source_file"][0]
            content = _content(part.drop("source_file"), shape)
            (folder / name).write_bytes(content)
            written.append(
                {
                    "file": name,
                    "sha256": hashlib.sha256(content).hexdigest(),
                    "n_rows": part.height,
                }
            )
    return written


def as_written(here: pl.DataFrame, shape: Shape) -> pl.DataFrame:
    """Every column as the text that stands in the file, under the shape's headings."""
    columns = [
        _filled(_text(column, shape), shape if column != "comment" else None).alias(heading)
        for heading, column in shape.headings
    ]
    return here.select(*columns, pl.col("source_file"))


def _filled(text: pl.Expr, shape: Shape | None) -> pl.Expr:
    """The shape's sign for "nothing" where a cell is empty."""
    return text.fill_null(shape.missing) if shape and shape.missing else text


def _text(column: str, shape: Shape) -> pl.Expr:
    if column in shape.codes and column in _CODED:
        return pl.col(column).replace_strict(
            list(_CODED[column]), _padded(shape, column), default=None
        )
    if column in _WHOLE:
        return pl.col(column).cast(pl.Int64).cast(pl.String)
    if column in _DECIMAL:
        return _decimal(pl.col(column), shape)
    special = {
        "stated_ratio_pct": (100 * pl.col("stated_ratio_share"))
        .round()
        .cast(pl.Int64)
        .cast(pl.String),
        "attenuation_value": _attenuation("attenuation_value", shape),
        "attenuation_iqr": _attenuation("attenuation_iqr", shape),
        "exam_at": pl.col("local_at").dt.strftime(shape.date_format),
        "exam_date": pl.col("local_at").dt.strftime(shape.date_format),
        "exam_time": pl.col("local_at").dt.strftime("%H:%M"),
        "born_on": pl.col("birth_day")
        .cast(pl.Int32)
        .cast(pl.Date)
        .dt.strftime(shape.date_format[:8]),
        "name": pl.format("{}, {}", "family_name", "given_name"),
        "position": _yes_no("position_stated", "position", shape),
        "fasting": _yes_no("fasting_stated", "fasting", shape),
        "comment": pl.col("comment").replace_strict(
            list(range(len(_COMMENTS))), list(_COMMENTS), default=None
        ),
    }
    return special.get(column, pl.col(column))


def _padded(shape: Shape, column: str) -> list[str | None]:
    """The shape's words, as many as the simulation has; what it cannot hold is empty."""
    words: list[str | None] = list(shape.codes[column])
    return words + [None] * (len(_CODED[column]) - len(words))


def _decimal(value: pl.Expr, shape: Shape) -> pl.Expr:
    return value.round(3).cast(pl.String).str.replace(".", shape.decimal, literal=True)


def _attenuation(name: str, shape: Shape) -> pl.Expr:
    if shape.attenuation_steps == 1:
        return pl.col(name).cast(pl.Int64).cast(pl.String)
    return _decimal(pl.col(name), shape)


def _yes_no(name: str, column: str, shape: Shape) -> pl.Expr:
    words = list(shape.codes.get(column, ("", "")))
    return pl.col(name).replace_strict(["breach", "kept"], words, default=None)


def _content(text: pl.DataFrame, shape: Shape) -> bytes:
    lead = "".join(f"{line}\n" for line in shape.lead_lines)
    return (lead + text.write_csv(separator=shape.delimiter)).encode(shape.encoding)
