"""Documents and previews in words, for the command line."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

from qa.followup.documents import Document, plain_document
from qa.followup.preview import Side, SitePreview
from qa.jobs.followup.preview import PreviewReport, months_text
from qa.views.words import counted, percent, percent_with_interval


def list_lines(documents: Sequence[Document], *, on: date) -> list[str]:
    """One line a version: kind, id, state, from when, by whom, how many have read it."""
    return [
        f"{one.kind}  {one.document_id}  {one.state_on(on)}  from {one.from_day}"
        f"{f' to {one.ended_on}' if one.ended_on else ''}  {one.site_id or 'network'}  "
        f"proposed by {one.proposed_by}"
        f"{f', approved by {one.approved_by}' if one.approved_by else ''}, "
        f"read by {len(one.reads)}  {one.fingerprint[:12]}"
        for one in documents
    ]


def document_lines(one: Document, *, on: date) -> list[str]:
    """Every field that holds something; differences and readers on lines of their own."""
    fields = {"Document": one.document_id, "State": str(one.state_on(on)), **plain_document(one)}
    del fields["Differences"], fields["Read by"]
    lines = [f"{name + ':':<16}{words}" for name, words in fields.items() if words]
    lines.append("Differences from the version before:")
    lines += [f"  {words}" for words in one.differences] or ["  none known"]
    lines.append(f"Read by {len(one.reads)}:")
    lines += [f"  {reader.at[:16]}  {reader.by}" for reader in one.reads]
    return lines


def documents_json(documents: Sequence[Document], *, on: date) -> list[dict[str, Any]]:
    """Plain values, without the text."""
    return [
        {
            "document_id": one.document_id,
            "state": str(one.state_on(on)),
            "n_events": one.n_events,
            "n_readers": len(one.reads),
            "fields": plain_document(one),
        }
        for one in documents
    ]


def preview_lines(report: PreviewReport) -> list[str]:
    """Site by site: reliable before and after with intervals, and what changes into what."""
    lines = [
        f"{report.criteria_id} on {counted(report.n_exams, 'exam')} of "
        f"{months_text(report.months)}; nothing was kept.",
        f"{'':<14}{'reliable now':<32}{'with it':<32}{'points':>7}  other outcome",
    ]
    for row in report.rows:
        lines.append(
            f"{row.unit_id:<14}{_side(row.before):<32}{_side(row.after):<32}{_points(row):>7}  "
            f"{counted(row.n_changed, 'exam')}"
        )
    network = report.rows[0]
    lines += [f"  {n:,} from {old} to {new}" for old, new, n in network.changes]
    share = percent(network.n_changed / report.n_exams)
    return [*lines, f"{share} of all exams would change their outcome."]


def _side(side: Side) -> str:
    """Exams that a set has no rule for are not judged, so that n may differ."""
    share = percent_with_interval(side.value, side.lower, side.upper)
    return f"{share} of {side.n:,}"


def _points(row: SitePreview) -> str:
    """Difference in percentage points."""
    if row.before.value is None or row.after.value is None:
        return ""
    return f"{100 * (row.after.value - row.before.value):+.1f}"


def preview_json(report: PreviewReport) -> dict[str, Any]:
    return {
        "criteria_id": report.criteria_id,
        "months": [f"{month:%Y-%m}" for month in report.months],
        "n_exams": report.n_exams,
        "rows": [asdict(row) for row in report.rows],
    }
