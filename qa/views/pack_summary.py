"""Page one of a pack in words: what changed since the month before, what is asked of whom."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.followup.cases import Case
from qa.followup.compliance import due_words
from qa.followup.due import Due, due_items
from qa.model.months import add_months, month_name
from qa.model.published import Published
from qa.model.words import PointState, TargetVerdict, UnitKind
from qa.views import words
from qa.views.equipment import EquipmentView
from qa.views.pack_facts import PackFacts
from qa.views.scope import criteria_of_month
from qa.views.site import SiteView
from qa.views.worklist import WorkItem, work_items

SITE_LEAD = "Site lead"


@dataclass(frozen=True)
class Ask:
    """One thing that is asked: what, of whom, by when, and what speaks for it."""

    what: str
    who: str
    by: str
    why: str


def changes(published: Published, site: SiteView, *, waiting: pl.DataFrame) -> tuple[str, ...]:
    """What is new against the month before, one sentence each, most important first.

    Args: waiting: rows of the month's files in quarantine (rows_waiting).
    """
    before = add_months(site.month, -1)
    past = work_items(published, site_signals(published, site.site_id, before))
    return (
        *_signal_changes(site, past),
        *_watched(site),
        *_off_target(site),
        *_exam_numbers(published, site, before),
        *_criteria_change(published, site, before),
        *_intake_changes(published, site, waiting),
    )


def asks(
    site: SiteView,
    *,
    waiting: pl.DataFrame,
    facts: PackFacts | None = None,
    equipment: EquipmentView | None = None,
) -> tuple[Ask, ...]:
    """What is asked of whom by when; empty where the month asks for nothing.

    Args: equipment: the site's devices as the register knows them; None: no register is kept.
    What a case does not date is asked by the day on which the month's evidence is due.
    """
    due = due_words(site.month)
    cases = [case for case in facts.cases if not case.is_closed] if facts else []
    found = [_item_ask(item, cases, due) for item in site.items]
    taken = {one.item_id for one in site.items}
    found += [
        _case_ask(one)
        for one in due_items(cases, on=facts.known_at.date() if facts else site.month)
        if not _is_of(one.case_id, cases, taken)
    ]
    found += _device_asks(equipment, due) if equipment else []
    if site.state == PointState.LATE:
        found.append(
            Ask(
                f"Send the exams of {site.month_text}, or say that there were none",
                SITE_LEAD,
                due,
                "No exam of the month has arrived",
            )
        )
    if waiting.height:
        found.append(
            Ask(
                f"Mend {words.counted(waiting.height, 'row')} and send the file again",
                SITE_LEAD,
                due,
                "They wait in quarantine and are in no figure of this pack",
            )
        )
    return tuple(found)


def _device_asks(equipment: EquipmentView, due: str) -> list[Ask]:
    """One for each device whose event nobody signed off, or whose own phantom check is out."""
    found = {
        one.device_id: Ask(
            f"Hold {one.device_id} against a phantom and sign off what happened to it",
            SITE_LEAD,
            due,
            f"{words.as_sentence(one.words).rstrip('.')} on {one.day}; "
            f"{words.counted(one.n_exams, 'exam')} since",
        )
        for one in equipment.waiting
    }
    for line in equipment.series:
        if line.mark == PointState.LOOK and not line.is_phantoms:
            device, probe, phantom = line.key
            found.setdefault(
                device,
                Ask(
                    f"Find out why {device} reads a phantom wrongly, or have it serviced",
                    SITE_LEAD,
                    due,
                    f"{probe} probe on {phantom}: {line.state} on {line.day}",
                ),
            )
    return list(found.values())


def _is_of(case_id: str, cases: Sequence[Case], item_ids: set[str]) -> bool:
    case = next(one for one in cases if one.case_id == case_id)
    return any(item.item_id in item_ids for item in case.items)


def _item_ask(item: WorkItem, cases: Sequence[Case], due: str) -> Ask:
    """What an item of the list asks for; its case says who and by when, where there is one."""
    own = [case for case in cases if any(one.item_id == item.item_id for one in case.items)]
    if not own:
        return Ask(_step(item), _who(item), due, item.stake_text)
    one = due_items(own, on=date.fromisoformat(own[0].opened_at[:10]))[0]
    return Ask(f"{_step(item)} ({one.case_id})", one.owner, f"{one.due_on}", item.stake_text)


def _case_ask(one: Due) -> Ask:
    late = ", overdue" if one.is_overdue else ""
    what = words.as_sentence(f"{one.case_id}: {one.what}").rstrip(".")
    return Ask(what, one.owner, f"{one.due_on}{late}", one.title)


def site_signals(published: Published, site_id: str, month: date) -> pl.DataFrame:
    """SIGNALS of a month that are about the site or one of its operators or devices."""
    rows = published.frame("signals", month=month)
    return rows.filter((pl.col("site_id") == site_id) | (_is_site() & _is_unit(site_id)))


def _is_site() -> pl.Expr:
    return pl.col("unit_kind") == UnitKind.SITE.value


def _is_unit(unit_id: str) -> pl.Expr:
    return pl.col("unit_id") == unit_id


def _step(item: WorkItem) -> str:
    return words.as_sentence(item.suggestion).rstrip(".")


def _who(item: WorkItem) -> str:
    if item.unit_kind == UnitKind.OPERATOR:
        return f"{SITE_LEAD}, {item.unit_name.split(' (')[0]}"
    return SITE_LEAD


def _about(item: WorkItem) -> str:
    whose = item.unit_name.split(" (")[0]
    return f"{words.lower_first(item.measure_title)} of {whose}"


def _signal_changes(site: SiteView, past: tuple[WorkItem, ...]) -> list[str]:
    old = {(item.unit_kind, item.unit_id, item.measure_id) for item in past}
    now = {(item.unit_kind, item.unit_id, item.measure_id) for item in site.items}
    new = [
        item for item in site.items if (item.unit_kind, item.unit_id, item.measure_id) not in old
    ]
    still = [item for item in site.items if item not in new]
    gone = [item for item in past if (item.unit_kind, item.unit_id, item.measure_id) not in now]
    lines = []
    if new:
        lines.append(f"New this month: {words.listed([_about(item) for item in new])}.")
    if still:
        names = [f"{_about(item)} (since {month_name(item.since)})" for item in still]
        lines.append(f"Still signalled: {words.listed(names)}.")
    if gone and site.state != PointState.LATE:
        lines.append(f"No longer signalled: {words.listed([_about(item) for item in gone])}.")
    return lines


def _watched(site: SiteView) -> list[str]:
    """Measures of the site that a weaker rule points at; they ask for nothing yet."""
    names = [
        words.lower_first(chart.measure_title)
        for chart in site.charts
        if not chart.is_grade
        and chart.points
        and chart.points[-1].month == site.month
        and chart.points[-1].state == PointState.WATCH
    ]
    return [f"To watch, nothing to do yet: {words.listed(names)}."] if names else []


def _off_target(site: SiteView) -> list[str]:
    """Measures in control but off the network's target: not new, and not what is wanted."""
    names = [
        f"{words.lower_first(chart.measure_title)} (target {words.percent(last.target)})"
        for chart in site.charts
        for last in chart.points[-1:]
        if last.month == site.month and last.target_verdict == TargetVerdict.STEADY_OFF
    ]
    return [f"In control but off target: {words.listed(names)}."] if names else []


def _exam_numbers(published: Published, site: SiteView, before: date) -> list[str]:
    counts = published.frame("monthly_counts", site_id=site.site_id, month=before)
    n_before = int(counts["n_judged"].sum())
    now = words.counted(site.n_exams, "exam") if site.n_exams else "No exam"
    then = words.whole(n_before) if n_before else "none"
    return [f"{now} judged, {then} in {month_name(before)}."]


def _criteria_change(published: Published, site: SiteView, before: date) -> list[str]:
    old = criteria_of_month(published.network, before)
    if site.criteria_id in (None, old) or old is None:
        return []
    return [
        f"Another criteria set judges from this month on: {site.criteria_id} instead of {old}. "
        "Months judged by different sets are not joined in the charts."
    ]


def _intake_changes(published: Published, site: SiteView, waiting: pl.DataFrame) -> list[str]:
    """Rows and files of the month that are in no figure."""
    lines = []
    if waiting.height:
        codes = sorted({code for row in waiting["codes"].to_list() for code in row or ()})
        lines.append(
            f"{words.counted(waiting.height, 'row')} of the site's files wait in quarantine "
            f"({words.listed(codes)})."
        )
    refused = published.frame("files", site_id=site.site_id, state="refused")
    read = set(published.frame("files", site_id=site.site_id, state="read")["file_id"].to_list())
    names = sorted(set(refused.filter(~pl.col("file_id").is_in(list(read)))["name"].to_list()))
    if names:
        lines.append(f"Refused whole and waiting: {words.listed(names)}.")
    return lines


def rows_waiting(published: Published, exams: pl.DataFrame, *, site_id: str) -> pl.DataFrame:
    """Rows in quarantine of the files that carry the month's exams.

    Args: exams: the site's published exams of the month.
    """
    file_ids = exams["file_id"].unique().sort().to_list()
    return published.frame("quarantined", site_id=site_id, file_id=file_ids)
