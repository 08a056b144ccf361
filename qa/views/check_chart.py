"""One series of phantom checks, as a line of the list and as a chart."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qa.drift.phantom_checks import Break, CheckChart, CheckPoint
from qa.followup.phantoms import Phantom
from qa.model.equipment_words import CheckRules
from qa.views import words
from qa.views.sheets import Cell, Sheet

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
    """One series drawn: session means in its unit, with limits by point.

    events: (day, words) of what ended a baseline.
    """

    key: SeriesKey
    unit: str
    finding: str
    note: str
    points: tuple[CheckPoint, ...]
    warn_share: float
    act_share: float
    certified: float
    events: tuple[tuple[date, str], ...] = ()


def check_chart_view(
    line: SeriesLine,
    charts: Mapping[SeriesKey, CheckChart],
    phantoms: Mapping[str, Phantom],
    rules: CheckRules,
    breaks: Sequence[Break] = (),
) -> CheckChartView:
    """The chart of one series, with what it found in words."""
    chart, phantom = charts[line.key], phantoms[line.key[2]]
    why = f" ({line.rules})" if line.rules else ""
    return CheckChartView(
        key=line.key,
        unit=phantom.unit,
        finding=f"{line.key[0]}, {line.key[1]} probe on {line.key[2]}: {line.state}{why}",
        note="Above: means of sessions. Band: three-sigma limits of single means, from the first "
        f"{rules.baseline_sessions} sessions after each sign-off; dotted: {rules.warn_share:.0%} "
        f"from the baseline (warning), dashed: {rules.act_share:.0%} (action). Below: standard "
        "deviations of sessions. Long dashes: X̄ and S limits from the scatter within sessions, "
        "shown, not judged. Multirules as published (Westgard 1981): 1_3s, 2_2s, R_4s call action; "
        "1_2s, 4_1s, 10_x warn. By chance 2.3 % of the checks of a steady device call action.",
        points=chart.points,
        warn_share=rules.warn_share,
        act_share=rules.act_share,
        certified=phantom.newest.value,
        events=_events(breaks),
    )


def _events(breaks: Sequence[Break]) -> tuple[tuple[date, str], ...]:
    """One for each day, in few words, so that they can be read beside each other."""
    found: dict[date, list[str]] = {}
    for one in breaks:
        signed = "" if one.signed_on else ", not signed off"
        found.setdefault(one.day, []).append(f"{one.words.split(' of ')[0]}{signed}")
    return tuple((day, words.listed(said)) for day, said in sorted(found.items()))


def checks_sheet(charts: Mapping[SeriesKey, CheckChart], keys: Iterable[SeriesKey]) -> Sheet:
    """One row for each session of these series; kPa or dB/m as the phantom's, shares 0 to 1."""
    headings = (
        *("device", "probe", "phantom", "day", "n", "mean", "sd", "bias_share"),
        *("deviation_share", "state", "why", "operator", "temperature_c", "source"),
        *("mean_lcl", "mean_ucl", "xbar_lcl", "xbar_ucl", "s_lcl", "s_ucl"),
    )
    rows = ((*key, *_cells(one)) for key in sorted(keys) for one in charts[key].points)
    return Sheet(headings, tuple(rows))


def _cells(one: CheckPoint) -> tuple[Cell, ...]:
    told, none = one.session, (None, None)
    return (
        *(told.day.isoformat(), len(told.values), told.mean),
        told.sd if len(told.values) > 1 else None,
        *(one.bias_share, one.deviation_share, str(one.state), one.why),
        *(told.operator_id or None, told.temperature_c, told.source or None),
        *(one.limits or none),
        *(one.mean_limits or none),
        *(one.sd_limits or none),
    )
