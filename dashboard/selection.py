"""What an address asks for, checked against what is published."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from dashboard.addresses import Download, Form, Page, address
from qa.jobs.followup.cases import CaseDesk
from qa.model.errors import UserError
from qa.model.months import month_name, parse_month
from qa.model.pack_request import PackKind
from qa.model.permissions import Actor, Permission, Reach
from qa.model.published import Published
from qa.views.drawn_choice import DrawChoice, find_kind, find_limits, find_pool, find_rules
from qa.views.exam_list import ALL, COUNTED, ExamQuery
from qa.views.scope import published_months

BY_FALSE_SHARE = "false-share"
KNOWN_NOW = "now"
PERIODS = (12, 24, 36)
DEFAULT_PERIOD = 36


@dataclass(frozen=True)
class Selection:
    """The choices of one address. problems: words for what it asks and nobody published."""

    month: date
    months: tuple[date, ...]
    site_id: str | None = None
    operator_id: str | None = None
    measure_id: str | None = None
    table_id: str | None = None
    draw: str | None = None
    is_by_false_share: bool = False
    limits: str | None = None
    rules: str | None = None
    pool: str | None = None
    spread: str | None = None
    period: int = DEFAULT_PERIOD
    series: str | None = None
    round: str | None = None
    kind: str | None = None
    requirement_id: str | None = None
    device_id: str | None = None
    since: date | None = None
    part: str | None = None
    exam_key: str | None = None
    is_known_now: bool = False
    problems: tuple[str, ...] = ()

    @property
    def drawn(self) -> DrawChoice:
        """How the measure's own chart is drawn."""
        return DrawChoice(self.draw, self.limits, self.rules, self.pool)

    @property
    def drawn_spread(self) -> DrawChoice:
        """How the charts of spread, attempts and duration are drawn."""
        return DrawChoice(self.spread, self.limits, self.rules, self.pool)

    @property
    def exam_query(self) -> ExamQuery:
        """Which exams the address asks for."""
        return ExamQuery(
            month=self.month,
            since=self.since or self.month,
            site_id=self.site_id,
            operator_id=self.operator_id,
            device_id=self.device_id,
            measure_id=self.measure_id,
            part=self.part or ALL,
        )

    def query(self) -> dict[str, str | int | None]:
        return {
            "month": f"{self.month:%Y-%m}",
            "site": self.site_id,
            "operator": self.operator_id,
            "measure": self.measure_id,
            "table": self.table_id,
            "draw": self.draw,
            "list": BY_FALSE_SHARE if self.is_by_false_share else None,
            "limits": self.limits,
            "rules": self.rules,
            "pool": self.pool,
            "spread": self.spread,
            "series": self.series,
            "round": self.round,
            "kind": self.kind,
            "requirement": self.requirement_id,
            "device": self.device_id,
            "since": f"{self.since:%Y-%m}" if self.since else None,
            "part": self.part,
            "exam": self.exam_key,
            "known": KNOWN_NOW if self.is_known_now else None,
            "period": None if self.period == DEFAULT_PERIOD else self.period,
        }


@dataclass(frozen=True)
class Context:
    """What a page is built from: the snapshot, the choices, and where the app is mounted.

    can_try: the app can try a file that is sent to it.
    desk: decisions, as whoever reads may see them; None where there is no store for them.
    pages: screens that this person may open. person: who is logged in; "" without accounts.
    manages_users: the menu leads to the accounts too.
    """

    published: Published
    selection: Selection
    prefix: str = "/"
    can_try: bool = False
    desk: CaseDesk | None = None
    pages: tuple[Page, ...] = tuple(Page)
    person: str = ""
    manages_users: bool = False

    def to(self, where: Page | Download | Form, *, anchor: str = "", **query: Any) -> str:
        """An address that keeps only the month and period, and adds the query given."""
        kept = {key: self.selection.query()[key] for key in ("month", "period")}
        return address(where, prefix=self.prefix, anchor=anchor, **{**kept, **query})

    def here(self, where: Page | Download, *, anchor: str = "", **changes: Any) -> str:
        """An address with all the present choices, but for the changes."""
        query = {**self.selection.query(), **changes}
        return address(where, prefix=self.prefix, anchor=anchor, **query)


def narrowed(selection: Selection, page: Page, actor: Actor) -> Selection:
    """Who sees one site or only the own exams comes straight to them."""
    reaches = actor.reaches(Permission.SEE_RESULTS)
    if Reach.NETWORK in reaches:
        return selection
    if (
        page in (Page.SITE, Page.EXPLAIN, Page.EXAMS, Page.PACK)
        and not selection.site_id
        and len(actor.sites) == 1
    ):
        return replace(selection, site_id=actor.sites[0])
    if (
        page in (Page.OPERATORS, Page.EXAMS)
        and not selection.operator_id
        and reaches == {Reach.SELF}
    ):
        return replace(selection, operator_id=actor.operator_id or None)
    return selection


def read_selection(published: Published, query: Mapping[str, Any]) -> Selection | None:
    """Check a query. Unknown values are dropped and named in `problems`.

    Returns: the selection; None where no month is published.
    """
    months = tuple(published_months(published))
    if not months:
        return None
    problems: list[str] = []
    asked = {key: _one(value) for key, value in query.items()}
    chosen = Selection(month=_month(asked.get("month"), months, problems), months=months)
    network, definitions = published.network, published.definitions
    devices = {one.id: one for one in network.devices}
    return replace(
        chosen,
        site_id=_known(asked.get("site"), network.site, "site", problems),
        operator_id=_known(asked.get("operator"), network.operator, "operator", problems),
        measure_id=_known(asked.get("measure"), definitions.measures.get, "measure", problems),
        table_id=_known(asked.get("table"), definitions.grade_tables.get, "grade table", problems),
        draw=_known(asked.get("draw"), find_kind, "kind of chart", problems),
        is_by_false_share=asked.get("list") == BY_FALSE_SHARE,
        limits=_known(asked.get("limits"), find_limits, "width of limits", problems),
        rules=_known(asked.get("rules"), find_rules, "run rule", problems),
        spread=_known(asked.get("spread"), find_kind, "kind of chart", problems),
        pool=_known(asked.get("pool"), find_pool, "way to put months together", problems),
        period=_period(asked.get("period")),
        series=(asked.get("series") or "")[:200] or None,
        round=(asked.get("round") or "")[:60] or None,
        kind=_known(asked.get("kind"), _pack_kind, "kind of pack", problems),
        requirement_id=_known(
            asked.get("requirement"), definitions.requirement, "requirement", problems
        ),
        device_id=_known(asked.get("device"), devices.get, "device", problems),
        since=_since(asked.get("since"), chosen.month, problems),
        part=COUNTED if asked.get("part") == COUNTED else None,
        exam_key=(asked.get("exam") or "")[:100] or None,
        is_known_now=asked.get("known") == KNOWN_NOW,
        problems=tuple(problems),
    )


def _pack_kind(text: str) -> PackKind | None:
    return PackKind(text) if text in list(PackKind) else None


def _one(value: Any) -> str:
    """A query value given twice counts once."""
    return str(value[0] if isinstance(value, list | tuple) and value else value or "")


def _month(text: str | None, months: tuple[date, ...], problems: list[str]) -> date:
    if not text:
        return months[-1]
    try:
        month = parse_month(text)
    except UserError as error:
        problems.append(error.message)
        return months[-1]
    if month not in months:
        problems.append(
            f"Nothing is published for {month_name(month)}. Shown is {month_name(months[-1])}; "
            f"published are {month_name(months[0])} to {month_name(months[-1])}."
        )
        return months[-1]
    return month


def _since(text: str | None, month: date, problems: list[str]) -> date | None:
    """The first month of a list of exams; one that is no month, or later, is named."""
    if not text:
        return None
    try:
        since = parse_month(text)
    except UserError as error:
        problems.append(error.message)
        return None
    return since if since < month else None


def _known(
    key: str | None, find: Callable[[str], object], what: str, problems: list[str]
) -> str | None:
    if not key:
        return None
    if find(key) is None:
        problems.append(f"There is no {what} '{key[:40]}' in this network. Choose one below.")
        return None
    return key


def _period(text: str | None) -> int:
    return int(text) if text in [str(period) for period in PERIODS] else DEFAULT_PERIOD
