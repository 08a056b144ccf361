"""One series of phantom checks, as a line of the list and as a chart."""

from collections.abc import Mapping
from dataclasses import dataclass

from qa.drift.phantom_checks import CheckChart, CheckPoint
from qa.followup.phantoms import Phantom
from qa.model.equipment_words import CheckRules

SeriesKey = tuple[str, str, str]


@dataclass(frozen=True)
class SeriesLine:
    """The newest check of one device, probe and phantom. mark: a PointState, "" for none."""

    key: SeriesKey
    state: str
    mark: str
    day: str
    bias: str
    deviation: str
    scatter: str
    rules: str
    due: str
    is_phantoms: bool = False

    @property
    def series_id(self) -> str:
        return "/".join(self.key)


@dataclass(frozen=True)
class CheckChartView:
    """One series drawn: session means in its unit, with limits by point."""

    key: SeriesKey
    unit: str
    finding: str
    note: str
    points: tuple[CheckPoint, ...]
    warn_share: float
    act_share: float
    certified: float


def check_chart_view(
    line: SeriesLine,
    charts: Mapping[SeriesKey, CheckChart],
    phantoms: Mapping[str, Phantom],
    rules: CheckRules,
) -> CheckChartView:
    """The chart of one series, with what it found in words."""
    chart, phantom = charts[line.key], phantoms[line.key[2]]
    why = f" ({line.rules})" if line.rules else ""
    return CheckChartView(
        key=line.key,
        unit=phantom.unit,
        finding=f"{line.key[0]}, {line.key[1]} probe on {line.key[2]}: {line.state}{why}",
        note=f"Means of sessions. Band: three-sigma limits of single means, from the first "
        f"{rules.baseline_sessions} sessions after each event; dashed: {rules.warn_share:.0%} from "
        f"the baseline (warning) and {rules.act_share:.0%} (action). Multirules as published "
        "(Westgard 1981): 1_3s, 2_2s, R_4s call action; 1_2s, 4_1s, 10_x warn. By chance 2.3 % of "
        "the checks of a steady device call action.",
        points=chart.points,
        warn_share=rules.warn_share,
        act_share=rules.act_share,
        certified=phantom.newest.value,
    )
