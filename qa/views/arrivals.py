"""What came in and what did not: late sites, refused files, rows that wait in quarantine."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.intake.checks import SENTENCES
from qa.model.months import month_name
from qa.model.published import Published
from qa.views import words
from qa.views.names import site_name


@dataclass(frozen=True)
class Arrival:
    """One thing that the intake wants known, with what to do about it."""

    site_id: str | None
    text: str
    todo: str


def arrivals(published: Published, *, month: date) -> tuple[Arrival, ...]:
    """Late sites of the month, then refused files, then rows in quarantine; all in words."""
    return (
        *_late(published, month),
        *_refused(published),
        *_quarantined(published),
    )


def _late(published: Published, month: date) -> list[Arrival]:
    counts = published.frame("monthly_counts", month=month)
    sent = set(counts["site_id"].unique().to_list())
    return [
        Arrival(
            site.id,
            f"{site.name}: no exams of {month_name(month)} have come in.",
            "Ask the site for its export.",
        )
        for site in published.network.sites
        if site.id not in sent
    ]


def _refused(published: Published) -> list[Arrival]:
    """Files whose newest reading was refused."""
    files = published.frame("files").sort("known_at").unique("file_id", keep="last")
    return [
        Arrival(
            row["site_id"],
            f"{row['name']}: refused. {words.as_sentence(row['problem'] or '')}".strip(),
            "All of its rows wait; mend the file or its profile and read it again.",
        )
        for row in files.filter(pl.col("state") == "refused").sort("name").iter_rows(named=True)
    ]


def _quarantined(published: Published) -> list[Arrival]:
    rows = published.frame("quarantined")
    groups = rows.group_by("site_id").agg(
        pl.len().alias("n"), pl.col("codes").explode().mode().sort().first().alias("code")
    )
    found = []
    for row in groups.sort("n", descending=True).iter_rows(named=True):
        name = site_name(published.network, row["site_id"]) if row["site_id"] else "No site named"
        found.append(
            Arrival(
                row["site_id"],
                f"{name}: {words.counted(row['n'], 'row')} in quarantine. Most often "
                f"({row['code']}): {SENTENCES.get(row['code'], 'see Methods')}",
                "Each row is kept with its reasons; mend the source or the profile.",
            )
        )
    return found
