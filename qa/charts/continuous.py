"""What is charted beside shares: the spread of readings and the measurements attempted."""

from dataclasses import dataclass

import polars as pl

from qa.charts.kinds import Quantity


@dataclass(frozen=True)
class ContinuousMeasure:
    """A mean or rate made of columns of the monthly counts.

    Args:
        id: stable code.
        n, total, squares: columns of the monthly counts; squares is "" where there is none.
        scale: what the totals are multiplied by.
        is_log: values are logarithms; they are shown as shares, exp(value).
        cause: what moves it, for people.
        unit: what values are in; "" for shares.
        min_n: fewest exams for a verdict on a month.
        depends_on_device: charts break where devices change.
    """

    id: str
    title: str
    quantity: Quantity
    n: str
    total: str
    squares: str
    scale: float
    is_log: bool
    sentence: str
    cause: str
    unit: str = ""
    min_n: int = 10
    depends_on_device: bool = False

    def months(self, counts: pl.DataFrame) -> pl.DataFrame:
        """Monthly counts → month, n, total, squares; one row a month, of one criteria set."""
        squares = pl.col(self.squares).sum() * self.scale if self.squares else pl.lit(0.0)
        return (
            counts.group_by("month")
            .agg(
                n=pl.col(self.n).sum(),
                total=pl.col(self.total).sum() * self.scale,
                squares=squares,
            )
            .sort("month")
        )


CONTINUOUS_MEASURES: dict[str, ContinuousMeasure] = {
    one.id: one
    for one in (
        ContinuousMeasure(
            id="CON-001",
            title="IQR/median of stiffness",
            quantity=Quantity.MEAN,
            n="n_with_ratio",
            total="sum_ln_ratio_micro",
            squares="sumsq_ln_ratio_micro",
            scale=1e-6,
            is_log=True,
            sentence="Geometric mean of IQR/median of judged exams, charted as logarithms.",
            cause="steadiness of the hand, breath hold, and the part of the liver chosen",
            depends_on_device=True,
        ),
        ContinuousMeasure(
            id="CON-002",
            title="Measurements attempted per exam",
            quantity=Quantity.RATE,
            n="n_with_attempts",
            total="sum_attempted",
            squares="",
            scale=1.0,
            is_log=False,
            sentence="Attempts divided by exams, of exams whose attempts were sent.",
            cause="window and positioning: more attempts are needed where the window is poor",
            unit="per exam",
        ),
        ContinuousMeasure(
            id="CON-003",
            title="Duration of an exam",
            quantity=Quantity.MEAN,
            n="n_with_duration",
            total="sum_ln_duration_micro",
            squares="sumsq_ln_duration_micro",
            scale=1e-6,
            is_log=True,
            sentence="Geometric mean of the duration of exams that state it, charted as "
            "logarithms.",
            cause="window, positioning and experience; a sudden fall may be haste or another way "
            "to write the time down",
            unit="seconds",
        ),
    )
}
