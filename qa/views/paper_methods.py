"""The last sections of every document: definitions, cautions, and what it was made from."""

from collections.abc import Sequence

from qa.views import words
from qa.views.pack_facts import PackFacts
from qa.views.pack_record import CAUTIONS, MethodRow, Provenance, RuleSet, SourceFile
from qa.views.paper import Block, Grid, Head, Kept, Look, Para, Section

MOST_FILES = 12
"""So many source files are printed; a network has hundreds where each exam is a file."""


def method_section(methods: Sequence[MethodRow], made: Provenance) -> Section:
    """Measures, criteria sets, grade tables and chart rules with source and confidence."""
    rows = tuple(
        (
            (Para(row.title, Look.SMALL), Para(row.measure_id, Look.NOTE)),
            Para(f"{row.counted}, of: {words.lower_first(row.out_of)}.", Look.SMALL),
            str(row.smallest_n),
            (Para(row.source, Look.SMALL), Para(f"Confidence: {row.confidence}", Look.NOTE)),
        )
        for row in methods
    )
    headings = ("Measure", "Counted", "Least n", "Source")
    blocks: list[Block] = []
    if rows:
        blocks.append(Grid("How each measure is counted", headings, rows, (96, 176, 40, 193)))
    for title, rules in (
        ("Criteria sets", made.criteria),
        ("Grade tables", made.grade_tables),
        ("Chart rules", made.chart_rules),
    ):
        if rules:
            first, *others = rules
            blocks.append(Kept((Head(title), *_rule_set(first))))
            blocks += [Kept(_rule_set(one)) for one in others]
    return Section("methods", "Methods", tuple(blocks), room=160.0)


def _rule_set(rules: RuleSet) -> tuple[Block, ...]:
    """A set of rules in words, with where it comes from."""
    sure = f" Confidence: {rules.confidence}." if rules.confidence else ""
    return (
        Para(f"{rules.title} ({rules.id})", Look.SMALL_STRONG),
        Para(" ".join(rules.lines), Look.SMALL),
        Para(f"Source: {rules.source.rstrip('.')}.{sure}", Look.NOTE),
    )


def caution_section() -> Section:
    """The same on every pack."""
    blocks = tuple(Para(caution, Look.SMALL) for caution in CAUTIONS)
    return Section("cautions", "Cautions", blocks, room=150.0)


def provenance_section(
    made: Provenance,
    facts: PackFacts | None,
    *,
    pack_name: str,
    software: str,
    has_files: bool = True,
) -> Section:
    """What anybody needs to make this document again and to check it.

    Args: has_files: it is made from exams of its month, whose files are listed.
    """
    rows = [
        ("Pack", pack_name),
        ("Snapshot", f"{made.snapshot_id}, published {made.published_at:%Y-%m-%d %H:%M} UTC"),
        ("Software", f"elastography-qa {software}; snapshot by {made.software_version}"),
    ]
    if facts is not None:
        known = f"as known at {facts.known_at:%Y-%m-%d %H:%M} UTC"
        head = f"; newest line of the trail {facts.head[:16]}…" if facts.head else ""
        rows.append(("Decisions", known + head))
    rows += [("Criteria set", f"{one.id}, fingerprint {one.fingerprint}") for one in made.criteria]
    rows += [
        ("Grade table", f"{one.id}, fingerprint {one.fingerprint}") for one in made.grade_tables
    ]
    cells = tuple((Para(name, Look.SMALL), Para(value, Look.SMALL)) for name, value in rows)
    blocks: list[Block] = [Grid("Made from", ("What", "Which"), cells, (118, 387))]
    of_month = [one for one in made.files if one.is_of_month]
    n_others = len(made.files) - len(of_month) if has_files else 0
    others = f", with {words.counted(n_others, 'earlier file')}" if n_others else ""
    below = (
        f"Every figure printed here stands in the manifest beside this file{others}. "
        "'elastoqa verify' says whether this file, the manifest and the snapshot still agree."
    )
    blocks.append(Para(below, Look.NOTE))
    if len(of_month) > MOST_FILES:
        blocks.append(
            Para(
                f"{words.counted(len(of_month), 'file')} hold exams of the time shown; the "
                "manifest lists each with its SHA-256.",
                Look.SMALL,
            )
        )
    elif of_month:
        file_rows = tuple(
            (
                Para(one.name, Look.SMALL),
                (Para(one.sha256, Look.SMALL), Para(_rows_in(one), Look.NOTE)),
            )
            for one in of_month
        )
        blocks.append(Grid("Files", ("File of the month", "SHA-256"), file_rows, (118, 387)))
    elif has_files:
        blocks.append(Para("No file of this month has arrived.", Look.SMALL))
    return Section("provenance", "Provenance", tuple(blocks), room=170.0)


def _rows_in(file: SourceFile) -> str:
    """Example: '204 rows in, 2 in quarantine, read 2026-11-04 07:00 UTC'"""
    parts = [f"{words.counted(file.n_accepted, 'row')} in"]
    if file.n_quarantined:
        parts.append(f"{words.whole(file.n_quarantined)} in quarantine")
    parts.append(f"read {file.known_at:%Y-%m-%d %H:%M} UTC")
    return ", ".join(parts)
