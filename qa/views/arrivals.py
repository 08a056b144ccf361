"""What came in and what did not: late sites, refused files, rows that wait in quarantine."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.intake.checks import SENTENCES
from qa.model.published import Published
from qa.model.words import IntakeState
from qa.views import words
from qa.views.names import site_name
from qa.views.waiting import waiting_files

ASKED_OF_SITE: dict[str, str] = {
    IntakeState.LATE: "Ask the site for its export.",
    IntakeState.PARTIAL: "Ask the site for the rest of the month.",
    IntakeState.THIN: "Ask the site whether that is all.",
}
"""State of a month → what to do about it; in the order of the list."""


@dataclass(frozen=True)
class Arrival:
    """One thing that the intake wants known, with what to do about it."""

    site_id: str | None
    text: str
    todo: str


def arrivals(published: Published, *, month: date) -> tuple[Arrival, ...]:
    """Late, partial and thin sites, then refused files, then rows in quarantine; all in words."""
    return (
        *_months(published, month),
        *_refused(published),
        *_quarantined(published),
    )


def _months(published: Published, month: date) -> list[Arrival]:
    rows = published.frame("intake_months", month=month, state=list(ASKED_OF_SITE)).to_dicts()
    order = list(ASKED_OF_SITE)
    return [
        Arrival(
            row["site_id"],
            f"{site_name(published.network, row['site_id'])}: {row['sentence']}",
            ASKED_OF_SITE[row["state"]],
        )
        for row in sorted(rows, key=lambda row: order.index(row["state"]))
    ]


def _refused(published: Published) -> list[Arrival]:
    """Files that were refused and not mended since."""
    files = waiting_files(published.frame("quarantined").clear(), published.frame("files"))
    return [
        Arrival(
            file.site_id,
            f"{file.name}: refused. {words.as_sentence(file.problem)}".strip(),
            "All of its rows wait; mend the file or its profile and read it again.",
        )
        for file in sorted(files, key=lambda file: file.name)
    ]


def _quarantined(published: Published) -> list[Arrival]:
    rows = published.frame("quarantined")
    groups = rows.group_by("site_id").agg(
        pl.len().alias("n"), pl.col("codes").explode().mode().sort().first().alias("code")
    )
    found = []
    for row in groups.sort(["n", "site_id"], descending=[True, False]).iter_rows(named=True):
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
