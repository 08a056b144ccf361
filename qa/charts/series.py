"""What charts share: the key of a series, and the measures' settings as a frame to join."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from qa.model.definitions import Measure
from qa.model.words import Better, UnitKind

SERIES_KEY: tuple[str, ...] = ("unit_kind", "unit_id", "measure_id", "criteria_id")

# A point is bad above the centre line, below it, or on either side.
SIDES: dict[str, tuple[int, ...]] = {
    Better.LOWER: (1,),
    Better.HIGHER: (-1,),
    Better.NEITHER: (1, -1),
}


def charted_values(values: pl.DataFrame, measures: Sequence[Measure]) -> pl.DataFrame:
    """MEASURE_VALUES that are charted, beside them the measure's better, min_n and is_watched.

    A unit kind is charted where the measure names it; the network always is, because its
    baseline stands in for units that have none yet.
    """
    table = pl.DataFrame(
        {
            "measure_id": [measure.id for measure in measures],
            "better": [str(measure.better) for measure in measures],
            "min_n": [measure.min_n for measure in measures],
            "is_watched": [measure.is_watched for measure in measures],
            "units": [[str(kind) for kind in measure.units] for measure in measures],
        },
        schema={
            "measure_id": pl.String,
            "better": pl.String,
            "min_n": pl.Int64,
            "is_watched": pl.Boolean,
            "units": pl.List(pl.String),
        },
    )
    charted = table.explode("units").rename({"units": "unit_kind"}).drop_nulls("unit_kind")
    network = table.drop("units").with_columns(unit_kind=pl.lit(str(UnitKind.NETWORK)))
    kinds = pl.concat([charted, network.select(charted.columns)]).unique()
    return values.join(kinds, on=["measure_id", "unit_kind"], how="inner")


def in_series_order(values: pl.DataFrame) -> pl.DataFrame:
    """Rows sorted by SERIES_KEY and month, with series_no, the number of the series.

    Texts are turned into numbers first: millions of rows sort in a fraction of the time.
    """
    if values.is_empty():
        return values.with_columns(series_no=pl.lit(None, dtype=pl.Int64))
    code = np.zeros(values.height, dtype=np.int64)
    for name in SERIES_KEY:
        words = values[name].unique().sort()
        code = code * len(words) + values[name].cast(pl.Enum(words)).to_physical().to_numpy()
    day = values["month"].to_physical().to_numpy().astype(np.int64)
    span = int(day.max() - day.min()) + 1
    order = pl.Series(code * span + (day - day.min())).arg_sort()
    ordered = code[order.to_numpy()]
    number = np.concatenate([[0], np.cumsum(ordered[1:] != ordered[:-1])])
    return values[order].with_columns(series_no=pl.Series(number, dtype=pl.Int64))
