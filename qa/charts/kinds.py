"""Kinds of charts that a series can be drawn as: each is one row with its sentence and source."""

from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """What a month's figure is."""

    SHARE = "share"  # events of exams
    RATE = "rate"  # counts per exam, without an upper end
    MEAN = "mean"  # mean of one value per exam


@dataclass(frozen=True)
class ChartKind:
    """One way to draw a series.

    Args:
        code: as it stands in addresses.
        title: name of the chart.
        sentence: what it shows and what it is good for.
        quantities: what it can be drawn for month by month; none: exam by exam only, where a
            model or a newcomer is there.
        arl: mean number of months to a false call of the chart as published, standards known
            and values normal; None where it depends on the counts. It is shorter than that
            wherever the baseline is short.
        source: where it is published.
    """

    code: str
    title: str
    sentence: str
    quantities: tuple[Quantity, ...]
    source: str
    arl: float | None = None


_KINDS = (
    ChartKind(
        "p",
        "p-chart",
        "Share of exams a month; limits step with the number of exams and are exact binomial "
        "where fewer than five exams of either kind are expected.",
        (Quantity.SHARE,),
        "Shewhart 1931; NIST/SEMATECH e-Handbook 6.3.3.2",
        370.4,
    ),
    ChartKind(
        "p-prime",
        "p′-chart",
        "As the p-chart, its limits widened by how much more than chance the baseline's months "
        "differ from one to the next.",
        (Quantity.SHARE,),
        "Laney, Quality Engineering 2002; 14: 531-537",
        370.4,
    ),
    ChartKind(
        "np",
        "np-chart",
        "Number of exams instead of their share; reads well where all months are alike in size.",
        (Quantity.SHARE,),
        "Shewhart 1931",
        370.4,
    ),
    ChartKind(
        "ewma",
        "EWMA chart",
        "An average that forgets, a fifth of it the newest month: finds small lasting shifts.",
        (Quantity.SHARE, Quantity.RATE, Quantity.MEAN),
        "Roberts 1959; Lucas and Saccucci, Technometrics 1990; 32: 1-12",
        499.7,
    ),
    ChartKind(
        "cusum",
        "CUSUM chart",
        "Sums of what lies beyond the expected, upwards and downwards; each begins anew at 0. Of "
        "shares it sums the evidence for odds twice as high, of means what goes beyond half a "
        "sigma. Finds small lasting shifts soonest and shows since when.",
        (Quantity.SHARE, Quantity.RATE, Quantity.MEAN),
        "Page 1954; Steiner et al., Biostatistics 2000; 1: 441-452",
    ),
    ChartKind(
        "g",
        "g-chart",
        "Exams between two rare events, event by event; a point below its limit is bad news.",
        (Quantity.SHARE,),
        "Kaminsky et al. 1992; Benneyan, Health Care Manag Sci 2001; 4: 305-318",
    ),
    ChartKind(
        "t",
        "t-chart",
        "Days between two rare events, event by event.",
        (Quantity.SHARE,),
        "Nelson, J Qual Technol 1994; 26: 239-240",
        370.4,
    ),
    ChartKind(
        "u",
        "u-chart",
        "Counts per exam a month; limits step with the number of exams.",
        (Quantity.RATE,),
        "Shewhart 1931",
        370.4,
    ),
    ChartKind(
        "u-prime",
        "u′-chart",
        "As the u-chart, its limits widened by how much more than chance the months differ.",
        (Quantity.RATE,),
        "Laney, Quality Engineering 2002; 14: 531-537",
        370.4,
    ),
    ChartKind(
        "c",
        "c-chart",
        "The month's total count; reads well where all months are alike in size.",
        (Quantity.RATE,),
        "NIST/SEMATECH e-Handbook 6.3.3.1",
        370.4,
    ),
    ChartKind(
        "xbar",
        "X̄-chart",
        "Mean of the month; limits from the spread between exams of a month.",
        (Quantity.MEAN,),
        "Montgomery, Introduction to Statistical Quality Control, 6.3",
        370.4,
    ),
    ChartKind(
        "s",
        "S-chart",
        "Spread between exams of a month.",
        (Quantity.MEAN,),
        "Montgomery, Introduction to Statistical Quality Control, 6.3",
    ),
    ChartKind(
        "individuals",
        "Individuals chart",
        "One value a month; limits from the steps between neighbouring months, whatever makes "
        "months differ.",
        (Quantity.RATE, Quantity.MEAN),
        "NIST/SEMATECH e-Handbook 6.3.2.2",
        370.4,
    ),
    ChartKind(
        "ra-cusum",
        "Risk-adjusted CUSUM",
        "Evidence for odds twice as bad (and, downwards, half as bad), summed exam by exam against "
        "what was expected of each patient, from the end of the baseline on; drawn after the last "
        "exam of each day.",
        (),
        "Steiner et al., Biostatistics 2000; 1: 441-452",
        370.4,
    ),
    ChartKind(
        "vlad",
        "VLAD",
        "Expected minus found so far, exam by exam: it falls where there are more events than the "
        "patients let expect. Limits hold 95 of 100 such lines on any one day; it is no test, the "
        "risk-adjusted CUSUM is.",
        (),
        "Lovegrove et al., Lancet 1997; 350: 1128-1130",
    ),
    ChartKind(
        "learning",
        "Learning-curve CUSUM",
        "Evidence, exam by exam from a newcomer's first, that results are as good as those of the "
        "others; the limit is reached when that is shown.",
        (),
        "Biau, Porcher, Stat Med 2010; 29: 1900-1909",
    ),
)

CHART_KINDS: dict[str, ChartKind] = {kind.code: kind for kind in _KINDS}


def kinds_for(quantity: Quantity) -> tuple[ChartKind, ...]:
    """Kinds that a series of this quantity can be drawn as, in the order of the registry."""
    return tuple(kind for kind in _KINDS if quantity in kind.quantities)
