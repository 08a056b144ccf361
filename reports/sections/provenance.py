"""Provenance: snapshot, rules, source files and software that the pack is made from."""

from reportlab.platypus import Flowable

from qa.views import words
from qa.views.pack import SitePack
from qa.views.pack_record import SourceFile
from reports import look
from reports.parts import gap, note, section, small, table

NAME_WIDTH = 118.0


def provenance_section(pack: SitePack, *, pack_name: str, software: str) -> list[Flowable]:
    """What anybody needs to make this pack again and to check it."""
    made = pack.provenance
    rows = [
        ("Pack", pack_name),
        ("Snapshot", f"{made.snapshot_id}, published {made.published_at:%Y-%m-%d %H:%M} UTC"),
        ("Software", f"elastography-qa {software}; snapshot by {made.software_version}"),
    ]
    rows += [("Criteria set", f"{one.id}, fingerprint {one.fingerprint}") for one in made.criteria]
    rows += [
        ("Grade table", f"{one.id}, fingerprint {one.fingerprint}") for one in made.grade_tables
    ]
    of_month = [one for one in made.files if one.is_of_month]
    n_others = len(made.files) - len(of_month)
    story = section("provenance", "Provenance", room=170.0)
    story.append(
        table(
            ("What", "Which"),
            [[name, small(value)] for name, value in rows],
            widths=(NAME_WIDTH, look.WIDTH - NAME_WIDTH),
        )
    )
    story.append(gap(10))
    if of_month:
        file_rows = [
            [small(one.name), [small(one.sha256), note(_rows_in(one))]] for one in of_month
        ]
        widths = (NAME_WIDTH, look.WIDTH - NAME_WIDTH)
        story.append(table(("File of the month", "SHA-256"), file_rows, widths=widths))
    else:
        story.append(small("No file of this month has arrived."))
    others = f", with {words.counted(n_others, 'earlier file')} of the site" if n_others else ""
    story += [
        gap(3),
        note(
            f"Every figure printed here stands in the manifest beside this file{others}. "
            "'elastoqa verify' says whether this file, the manifest and the snapshot still agree."
        ),
    ]
    return story


def _rows_in(file: SourceFile) -> str:
    """Example: '204 rows in, 2 in quarantine, read 2026-11-04 07:00 UTC'"""
    parts = [f"{words.counted(file.n_accepted, 'row')} in"]
    if file.n_quarantined:
        parts.append(f"{words.whole(file.n_quarantined)} in quarantine")
    parts.append(f"read {file.known_at:%Y-%m-%d %H:%M} UTC")
    return ", ".join(parts)
