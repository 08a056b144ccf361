"""Records → what sites send: rows of files, with the mishaps that real files have.

An exam may be sent more than once. The sending that should count in the end is marked `is_final`;
its file and row are those of the truth.
"""

from collections.abc import Callable

import numpy as np
import polars as pl

from demo_sites.columns import n_rows_of
from demo_sites.mishap_kinds import MISHAP_KINDS
from demo_sites.planted import ActiveEvents
from demo_sites.scenario import Mishap, Scenario
from demo_sites.shape import Shape
from demo_sites.shapes import SHAPES, shape_by_id
from demo_sites.shapes_coded import NDJSON_FROM
from qa.model.months import add_months

WRONG_HOURS = 1.0
"""Fasting hours in the first version of an exam that is corrected later."""
UNKNOWN_CODE = "ZZ9"
"""An operator's code that nobody has."""
_SLIP_KPA = 3.0


def number_records(records: pl.DataFrame, events: ActiveEvents, scenario: Scenario) -> pl.DataFrame:
    """Add exam and patient numbers, each exam's file, whether it was sent, and its fate."""
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
    numbered = records.with_columns(
        pl.format(
            "{}-{}",
            pl.col("site_id").replace_strict(prefix, number),
            running.cast(pl.String).str.zfill(6),
        ).alias("exam_no"),
        pl.format(
            "N{}",
            ((pl.col("patient") * 791_933 + 104_729) % 10_000_019).cast(pl.String).str.zfill(8),
        ).alias("patient_no"),
        (~late).alias("is_sent"),
        version_no=pl.lit(1, pl.Int32),
        mishap=pl.lit(None, pl.String),
    )
    return numbered.with_columns(
        _file_name().alias("file"),
        pl.when("is_sent").then(pl.lit("in")).otherwise(pl.lit("not sent")).alias("fate"),
    )


def _file_name() -> pl.Expr:
    """incoming/<site>/<site>_YYYY-MM.<ending>; one report a file where a shape asks for it."""
    month = pl.col("month").dt.strftime("%Y-%m")
    endings = {shape.id: shape.ending for shape in SHAPES}
    ending = pl.col("shape").replace_strict(list(endings), list(endings.values()))
    is_lines = (pl.col("shape") == "estuary") & (month >= NDJSON_FROM)
    usual = pl.format(
        "incoming/{}/{}_{}.{}", "site_id", "site_id", month,
        pl.when(is_lines).then(pl.lit("ndjson")).otherwise(ending),
    )  # fmt: skip
    alone = [shape.id for shape in SHAPES if shape.is_one_exam_a_file]
    report = pl.format("incoming/{}/reports/{}/{}.{}", "site_id", month, "exam_no", ending)
    return pl.when(pl.col("shape").is_in(alone)).then(report).otherwise(usual)


def send(
    records: pl.DataFrame, scenario: Scenario, rng: np.random.Generator
) -> tuple[pl.DataFrame, pl.DataFrame, dict[str, str]]:
    """Play the mishaps of a scenario.

    Returns: (records, sendings, copies): records with fate, version_no, mishap, source_file and
        row_no as they should be in the end; sendings, the rows of all files in their order; copies,
        names of files that are sent again with the same bytes → the file that they repeat.
    """
    sendings = records.filter("is_sent").with_columns(is_final=pl.lit(value=True))
    copies: dict[str, str] = {}
    for mishap in scenario.mishaps:
        if mishap.kind == "sent_twice":
            file = _file_of(records, mishap)
            copies[_renamed(file, " (2)")] = file
            continue
        exams = _chosen(records, mishap, rng)
        records, sendings = _PLAYS[mishap.kind](records, sendings, mishap, exams)
        is_chosen = pl.col("exam_no").is_in(exams)
        fate = MISHAP_KINDS[mishap.kind].fate
        records = records.with_columns(
            pl.when(is_chosen).then(pl.lit(mishap.kind)).otherwise("mishap").alias("mishap"),
            pl.when(is_chosen).then(pl.lit(fate)).otherwise("fate").alias("fate"),
        )
    sendings = _numbered(sendings)
    final = sendings.filter("is_final").select("exam_no", "row_no", source_file="file")
    records = (
        records.with_columns(month_file="file")
        .drop("file")
        .join(final, on="exam_no", how="left", maintain_order="left")
    )
    records = records.with_columns(pl.coalesce("source_file", "month_file"))
    place = pl.int_range(1, pl.len() + 1).over("source_file").cast(pl.Int32)
    return records.with_columns(pl.coalesce("row_no", place)), sendings, copies


def _file_of(records: pl.DataFrame, mishap: Mishap) -> str:
    return _of_month(records, mishap)["file"][0]


def _of_month(frame: pl.DataFrame, mishap: Mishap) -> pl.DataFrame:
    """Rows of the site's file of a month; reports of another shape lie apart."""
    here = frame.filter(
        (pl.col("site_id") == mishap.site)
        & (pl.col("month") == mishap.first_day)
        & (pl.col("is_sent"))
    )
    alone = [shape.id for shape in SHAPES if shape.is_one_exam_a_file]
    return here.filter(~pl.col("shape").is_in(alone))


def _renamed(file: str, tail: str) -> str:
    """Example: "incoming/a/a_2026-05.csv", " (2)" → "incoming/a/a_2026-05 (2).csv" """
    folder, _, name = file.rpartition("/")
    stem, _, ending = name.partition(".")
    return f"{folder}/{stem}{tail}.{ending}"


def _chosen(records: pl.DataFrame, mishap: Mishap, rng: np.random.Generator) -> list[str]:
    """Exams that a mishap touches: reliable, fasted, and touched by nothing else."""
    fits = _of_month(records, mishap).filter(
        (pl.col("outcome") == "reliable")
        & pl.col("mishap").is_null()
        & pl.col("planted_event").is_null()
        & (pl.col("fasting_hours") >= 3.0).fill_null(value=True)
    )
    if mishap.kind in ("corrected_export", "amended"):
        fits = fits.filter(pl.col("fasting_hours").is_not_null())
    rows = rng.permutation(fits.height)[: mishap.exams]
    return fits["exam_no"].gather(np.sort(rows)).to_list()


Played = tuple[pl.DataFrame, pl.DataFrame]


def _set(frame: pl.DataFrame, exams: list[str], **values: pl.Expr) -> pl.DataFrame:
    is_chosen = pl.col("exam_no").is_in(exams)
    return frame.with_columns(
        pl.when(is_chosen).then(value).otherwise(pl.col(name)).alias(name)
        for name, value in values.items()
    )


def _corrected_export(
    records: pl.DataFrame, sendings: pl.DataFrame, mishap: Mishap, exams: list[str]
) -> Played:
    """The whole file again; only the corrected rows of it count as another version."""
    file = _file_of(records, mishap)
    again = sendings.filter(pl.col("file") == file).with_columns(
        file=pl.lit(_renamed(file, "_corrected")), is_final=pl.col("exam_no").is_in(exams)
    )
    first = _set(sendings, exams, fasting_hours=pl.lit(WRONG_HOURS), is_final=pl.lit(value=False))
    records = _set(records, exams, version_no=pl.lit(2, pl.Int32))
    return records, pl.concat([first, again])


def _amended(
    records: pl.DataFrame, sendings: pl.DataFrame, mishap: Mishap, exams: list[str]
) -> Played:
    amended = {"source_status": pl.lit("amended")}
    later = _with_next_month(records, sendings, mishap, exams, **amended)
    first = _set(sendings, exams, fasting_hours=pl.lit(WRONG_HOURS), is_final=pl.lit(value=False))
    records = _set(records, exams, version_no=pl.lit(2, pl.Int32), **amended)
    return records, pl.concat([first, later])


def _taken_back(
    records: pl.DataFrame, sendings: pl.DataFrame, mishap: Mishap, exams: list[str]
) -> Played:
    change = {"is_retracted": pl.lit(value=True)}
    if "source_status" in _shape_of(records, mishap).sends:
        change["source_status"] = pl.lit("entered-in-error")
    later = _with_next_month(records, sendings, mishap, exams, **change)
    first = _set(sendings, exams, is_final=pl.lit(value=False))
    records = _set(records, exams, version_no=pl.lit(2, pl.Int32), **change)
    return records, pl.concat([first, later])


def _shape_of(records: pl.DataFrame, mishap: Mishap) -> Shape:
    return shape_by_id(_of_month(records, mishap)["shape"][0])


def _with_next_month(
    records: pl.DataFrame,
    sendings: pl.DataFrame,
    mishap: Mishap,
    exams: list[str],
    **changes: pl.Expr,
) -> pl.DataFrame:
    """The exams once more, changed, in the file of the month after."""
    next_month = Mishap(mishap.kind, mishap.site, f"{add_months(mishap.first_day, 1):%Y-%m}")
    again = sendings.filter(pl.col("exam_no").is_in(exams))
    return _set(again, exams, **changes).with_columns(file=pl.lit(_file_of(records, next_month)))


def _faulty(**values: pl.Expr) -> Callable[..., Played]:
    """Rows that are sent once, with a fault."""

    def play(
        records: pl.DataFrame, sendings: pl.DataFrame, mishap: Mishap, exams: list[str]
    ) -> Played:
        return records, _set(sendings, exams, **values)

    return play


def _stated_otherwise(
    records: pl.DataFrame, sendings: pl.DataFrame, mishap: Mishap, exams: list[str]
) -> Played:
    """What is stated stands, so the slip is what intake should hold."""
    slip = {
        name: (pl.col(name) + _SLIP_KPA).round(1) for name in ("stiffness_value", "stiffness_kpa")
    }
    return _set(records, exams, **slip), _set(sendings, exams, **slip)


_PLAYS: dict[str, Callable[..., Played]] = {
    "corrected_export": _corrected_export,
    "amended": _amended,
    "taken_back": _taken_back,
    "unit_missing": _faulty(stiffness_unit=pl.lit(None, pl.String)),
    "valid_above_attempted": _faulty(n_attempted=pl.col("n_valid") - 1),
    "unknown_operator": _faulty(operator_code=pl.lit(UNKNOWN_CODE)),
    "stated_otherwise": _stated_otherwise,
}


def _numbered(sendings: pl.DataFrame) -> pl.DataFrame:
    """row_no as a reader counts: the first row of an exam, 1 under the headings."""
    parts = []
    for (shape_id,), rows in sendings.partition_by(
        "shape", as_dict=True, maintain_order=True
    ).items():
        taken = n_rows_of(rows, shape_by_id(str(shape_id)))
        rows = rows.with_columns(taken=taken)
        row_no = (pl.col("taken").cum_sum() - pl.col("taken")).over("file") + 1
        parts.append(rows.with_columns(row_no.cast(pl.Int32).alias("row_no")))
    return pl.concat(parts).drop("taken")
