"""Methods and provenance of a pack: how every figure is made, from what, by which rules."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from qa.charts.rules import CHART_RULES
from qa.model.definitions import CAUTION, GRADE_CAUTION, CriteriaSet, GradeTable, Measure
from qa.model.published import Definitions, Published
from qa.model.schemas import COUNT_COLUMNS, ROW_COUNT_COLUMNS
from qa.views.methods import Method, methods_view
from qa.views.site import SiteView

COUNT_SENTENCES = {
    column.name: column.sentence.rstrip(".") for column in (*COUNT_COLUMNS, *ROW_COUNT_COLUMNS)
}

CAUTIONS: tuple[str, ...] = (
    CAUTION,
    GRADE_CAUTION,
    "A signal is a question, not a verdict. Rates are as found; expected figures, limits "
    "and marks allow for the patients seen as far as the model of the measure knows them. Compare "
    "sites and operators with care where other patients are referred.",
    "Intervals are Wilson 95 % intervals and take exams as independent of each other; one bad day "
    "or one device can make them too narrow.",
    "Below the smallest number of exams stated for a measure the pack says 'too few exams' and "
    "gives no verdict.",
)


@dataclass(frozen=True)
class MethodRow:
    """How one measure is made."""

    measure_id: str
    title: str
    counted: str
    out_of: str
    smallest_n: int
    source: str
    confidence: str


@dataclass(frozen=True)
class RuleSet:
    """A criteria set, grade table or chart rule in words, with where it comes from."""

    id: str
    title: str
    lines: tuple[str, ...]
    source: str
    confidence: str
    fingerprint: str


@dataclass(frozen=True)
class SourceFile:
    """One export that the site's figures come from."""

    name: str
    sha256: str
    state: str
    n_accepted: int
    n_quarantined: int
    known_at: datetime
    is_of_month: bool


@dataclass(frozen=True)
class Provenance:
    """What a pack is made from."""

    snapshot_id: str
    published_at: datetime
    software_version: str
    network_id: str
    criteria: tuple[RuleSet, ...]
    grade_tables: tuple[RuleSet, ...]
    chart_rules: tuple[RuleSet, ...]
    files: tuple[SourceFile, ...]


def method_rows(definitions: Definitions, measure_ids: set[str]) -> tuple[MethodRow, ...]:
    """One row for each measure that the pack shows, by code."""
    chosen = sorted((m for m in definitions.measures.values() if m.id in measure_ids), key=_code)
    return tuple(
        MethodRow(
            measure_id=measure.id,
            title=measure.title,
            counted=_columns_text(measure.numerator),
            out_of=_columns_text(measure.denominator),
            smallest_n=measure.min_n,
            source=measure.source,
            confidence=measure.confidence,
        )
        for measure in chosen
    )


def _code(measure: Measure) -> str:
    return measure.id


def _columns_text(columns: tuple[str, ...]) -> str:
    return "; ".join(COUNT_SENTENCES.get(column, column) for column in columns)


def provenance(published: Published, site: SiteView, *, table_ids: set[str]) -> Provenance:
    """Snapshot, rules and source files behind the pack of one site's month."""
    used = {
        point.criteria_id for chart in site.charts for point in chart.points if not chart.is_grade
    }
    used |= {site.criteria_id} if site.criteria_id else set()
    return provenance_of(
        published,
        file_months=[site.month],
        criteria_ids=used,
        table_ids=table_ids,
        site_id=site.site_id,
    )


def provenance_of(
    published: Published,
    *,
    file_months: Sequence[date],
    criteria_ids: Set[str],
    table_ids: Set[str] = frozenset(),
    site_id: str | None = None,
    has_rules: bool = True,
) -> Provenance:
    """Snapshot, rules and source files behind a document of one site or of the network.

    Args:
        file_months: files with exams of these months come first.
        has_rules: chart rules belong to it.
    """
    of_site = {"site_id": site_id} if site_id else {}
    exams = published.frame("exams", month=list(file_months), **of_site)
    definitions, shown = published.definitions, _methods_by_code(published)
    return Provenance(
        snapshot_id=published.snapshot_id,
        published_at=published.published_at,
        software_version=published.software_version,
        network_id=published.network.id,
        criteria=_rule_sets(definitions.criteria, criteria_ids, shown),
        grade_tables=_rule_sets(definitions.grade_tables, table_ids, shown),
        chart_rules=tuple(_rule_set(shown[code]) for code in sorted(CHART_RULES))
        if has_rules
        else (),
        files=_source_files(published.frame("files", **of_site), set(exams["file_id"].to_list())),
    )


def _methods_by_code(published: Published) -> dict[str, Method]:
    sections = methods_view(published).sections
    return {method.code: method for _, _, methods in sections for method in methods}


def _rule_sets(
    known: Mapping[str, CriteriaSet | GradeTable], wanted: Set[str], shown: dict[str, Method]
) -> tuple[RuleSet, ...]:
    return tuple(
        _rule_set(shown[one], fingerprint=known[one].fingerprint)
        for one in sorted(wanted)
        if one in known and one in shown
    )


def _rule_set(method: Method, *, fingerprint: str = "") -> RuleSet:
    """The words of the Methods screen."""
    facts = [
        f"{name} {value}." if value.startswith("is ") else f"{name}: {value}."
        for name, value in method.facts
    ]
    return RuleSet(
        id=method.code,
        title=method.title,
        lines=tuple(line for line in (method.sentence, *facts) if line),
        source=method.source,
        confidence=method.confidence,
        fingerprint=fingerprint,
    )


def _source_files(files: pl.DataFrame, of_month: set[str]) -> tuple[SourceFile, ...]:
    """Files of the month first, then the newest; a file read twice stands once, as first read."""
    first = files.sort("known_at").unique("file_id", keep="first", maintain_order=True)
    found = [
        SourceFile(
            name=row["name"],
            sha256=row["file_id"],
            state=row["state"],
            n_accepted=row["n_accepted"],
            n_quarantined=row["n_quarantined"],
            known_at=row["known_at"],
            is_of_month=row["file_id"] in of_month,
        )
        for row in first.iter_rows(named=True)
    ]
    return tuple(sorted(found, key=lambda one: (not one.is_of_month, one.name, one.sha256)))
