"""Methods: how each measure is counted, by which rules exams are judged, how charts decide."""

from reportlab.platypus import Flowable, KeepTogether

from qa.views import words
from qa.views.pack import SitePack
from qa.views.pack_record import RuleSet
from reports import look
from reports.parts import gap, note, part, section, small, table


def method_section(pack: SitePack) -> list[Flowable]:
    """Measures, criteria sets, grade tables and chart rules with source and confidence."""
    story = section("methods", "Methods", room=160.0)
    rows = [
        [
            [small(row.title), note(row.measure_id)],
            small(f"{row.counted}, of: {words.lower_first(row.out_of)}."),
            str(row.smallest_n),
            [small(row.source), note(f"Confidence: {row.confidence}")],
        ]
        for row in pack.methods
    ]
    widths = (96.0, 176.0, 40.0, look.WIDTH - 312.0)
    story.append(table(("Measure", "Counted", "Least n", "Source"), rows, widths=widths))
    made = pack.provenance
    for title, rules in (
        ("Criteria sets", made.criteria),
        ("Grade tables", made.grade_tables),
        ("Chart rules", made.chart_rules),
    ):
        if rules:
            first, *others = [rule_set(one) for one in rules]
            story.append(KeepTogether([*part(title), *first]))
            story += [KeepTogether(lines) for lines in others]
    return story


def rule_set(rules: RuleSet) -> list[Flowable]:
    """A set of rules in words, with where it comes from."""
    sure = f" Confidence: {rules.confidence}." if rules.confidence else ""
    return [
        small(f"{rules.title} ({rules.id})", is_strong=True),
        small(" ".join(rules.lines)),
        note(f"Source: {rules.source.rstrip('.')}.{sure}"),
        gap(6),
    ]
