"""How is every figure made? Written from the definitions themselves, so it cannot fall behind."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

from qa.charts.published_rules import PUBLISHED_RULE_KEYS, PublishedRule, published_rule
from qa.charts.rules import CHART_RULES, ChartRule
from qa.intake.checks import CHECKS, Check
from qa.intake.steps import STEPS
from qa.measures import counted_noun
from qa.model.definitions import CAUTION, CriteriaSet, GradeTable, InForce, Measure, StiffnessRule
from qa.model.file_problems import FILE_PROBLEMS
from qa.model.published import Published
from qa.model.schemas import COUNT_COLUMNS, ROW_COUNT_COLUMNS
from qa.model.words import OUTCOME_SENTENCES, Confidence, Outcome, Severity
from qa.signals.cause_rules import CAUSE_RULES
from qa.views import words
from qa.views.fair_methods import fair_methods
from qa.views.method import Method
from qa.views.rates import rate_methods
from qa.views.shown import Table

BETTER_WORDS = {
    "lower": "lower is better",
    "higher": "higher is better",
    "neither": "neither direction is good or bad",
}


@dataclass(frozen=True)
class MethodsView:
    """The Methods screen, section by section; `settings` are the network's choices."""

    answer: str
    caution: str
    sections: tuple[tuple[str, str, tuple[Method, ...]], ...]
    settings: Table
    outcomes: Table
    snapshot_text: str


def methods_view(published: Published) -> MethodsView:
    """Every measure, chart rule, criteria set, grade table and check."""
    definitions, network = published.definitions, published.network
    criteria_days = {item.id: item for item in network.criteria}
    table_days = {item.id: item for item in network.grade_tables}
    sections: tuple[tuple[str, str, tuple[Method, ...]], ...] = (
        ("measures", "Measures", _all(_by_id(definitions.measures), _measure)),
        ("fair", "Fair comparison", fair_methods(published)),
        ("rates", "Published rates", rate_methods(published)),
        ("rules", "Chart rules", tuple(_rule(CHART_RULES[code]) for code in sorted(CHART_RULES))),
        ("causes", "One cause, one item", _causes()),
        (
            "run-rules",
            "Run rules of drawn charts",
            tuple(_run_rule(published_rule(key)) for key in PUBLISHED_RULE_KEYS),
        ),
        (
            "criteria",
            "Criteria sets",
            tuple(_criteria(item, criteria_days) for item in _by_id(definitions.criteria)),
        ),
        (
            "grades",
            "Grade tables",
            tuple(_grade_table(item, table_days) for item in _by_id(definitions.grade_tables)),
        ),
        ("checks", "Checks of incoming rows", _checks()),
        ("files", "Problems of whole files", _file_problems()),
    )
    return MethodsView(
        answer=_answer(sections, len(criteria_days)),
        caution=CAUTION,
        sections=sections,
        settings=_settings(published),
        outcomes=_outcomes(),
        snapshot_text=(
            f"Snapshot {published.snapshot_id}, published "
            f"{published.published_at:%Y-%m-%d %H:%M} UTC by version "
            f"{published.software_version}."
        ),
    )


def _by_id(items: dict[str, Any]) -> list[Any]:
    return [items[key] for key in sorted(items)]


def _all(items: Sequence[Any], show: Callable[[Any], Method]) -> tuple[Method, ...]:
    return tuple(show(item) for item in items)


def _answer(sections: tuple[tuple[str, str, tuple[Method, ...]], ...], n_criteria: int) -> str:
    n = {key: len(methods) for key, _, methods in sections}
    return words.as_sentence(
        f"every figure comes from {words.counted(n['measures'], 'measure')}, "
        f"{words.counted(n['rules'], 'chart rule')} and "
        f"{words.counted(n_criteria, 'criteria set')} in force, each with its source"
    )


def _measure(measure: Measure) -> Method:
    return Method(
        anchor=measure.id,
        code=measure.id,
        title=measure.title,
        sentence=measure.why,
        facts=(
            ("Counted", _columns(measure.numerator)),
            ("Of", _columns(measure.denominator)),
            ("Direction", BETTER_WORDS[measure.better]),
            ("Raises signals", "yes" if measure.is_watched else "no"),
            ("Verdict from", f"{words.counted(measure.min_n, counted_noun(measure))} a month"),
            ("When it worsens", f"{measure.cause}; look at {measure.step}"),
        ),
        source=measure.source,
        confidence=measure.confidence,
    )


def _columns(names: tuple[str, ...]) -> str:
    """Columns of the counts in their own words, with their names."""
    columns = (*COUNT_COLUMNS, *ROW_COUNT_COLUMNS)
    sentences = {column.name: column.sentence.rstrip(".") for column in columns}
    return "; ".join(f"{words.lower_first(sentences[name])} ({name})" for name in names)


def _causes() -> tuple[Method, ...]:
    return tuple(
        Method(
            code=f"CAU-{number:03d}",
            title=title,
            anchor=f"CAU-{number:03d}",
            sentence=sentence,
            facts=(),
            source="",
            confidence=Confidence.PROPOSAL,
        )
        for number, (title, sentence) in enumerate(CAUSE_RULES, start=1)
    )


def _rule(rule: ChartRule) -> Method:
    return Method(
        anchor=rule.code,
        code=rule.code,
        title=rule.title,
        sentence=rule.sentence,
        facts=(("A point that breaks it", f"is marked {rule.state}"),),
        source=rule.source,
        confidence="",
    )


def _run_rule(rule: PublishedRule) -> Method:
    book = "Western Electric, Statistical Quality Control Handbook, 1956"
    paper = "Nelson, J Qual Technol 1984; 16: 237-239"
    source = book if rule.key.startswith("western") else paper
    often = f"once in {words.whole(rule.arl)} points by itself, normal values, all known"
    title, facts = rule.sentence.rstrip("."), (("Calls by chance", often),)
    return Method(rule.key, rule.title, title, "", facts, source, "")


def _criteria(item: CriteriaSet, days: dict[str, InForce]) -> Method:
    facts = [_stiffness_fact(rule) for rule in item.stiffness]
    for limit in item.attenuation:
        sign = "≤" if limit.is_limit_allowed else "<"
        facts.append(
            (
                f"Attenuation, {words.listed(limit.techniques)}",
                f"IQR {sign} {words.number(limit.max_iqr_db_m, decimals=0)} dB/m",
            )
        )
    facts += _preparation_facts(item)
    facts.append(("Quartiles", f"type {item.quartile_type} where single measurements are sent"))
    return Method(
        anchor=item.id,
        code=item.id,
        title=f"{item.title}, version {item.version}",
        sentence=" ".join(part for part in (item.why, item.note) if part),
        facts=(_in_force_fact(item.id, days), *facts),
        source=item.source,
        confidence=item.confidence,
        is_in_force=item.id in days,
    )


def _stiffness_fact(rule: StiffnessRule) -> tuple[str, str]:
    sign = "≤" if rule.is_limit_allowed else "<"
    parts = [f"at least {rule.min_valid} valid measurements"] if rule.min_valid else []
    limit = f"IQR/median {sign} {words.percent(rule.max_ratio_kpa_share)}"
    if rule.max_ratio_m_s_share != rule.max_ratio_kpa_share:
        limit += f" ({words.percent(rule.max_ratio_m_s_share)} where measured in m/s)"
    if rule.ratio_from_kpa is not None:
        limit += f" from {words.number(rule.ratio_from_kpa)} kPa on"
    parts.append(limit)
    if rule.min_success_share is not None:
        parts.append(f"success rate ≥ {words.percent(rule.min_success_share)}")
    if rule.very_reliable_share is not None:
        parts.append(f"very reliable up to {words.percent(rule.very_reliable_share)}")
    return f"Stiffness, {words.listed(rule.techniques)}", "; ".join(parts)


def _preparation_facts(item: CriteriaSet) -> list[tuple[str, str]]:
    asked = item.preparation
    parts = []
    if asked.min_fasting_hours is not None:
        parts.append(f"fasting {words.number(asked.min_fasting_hours, decimals=0)} h or more")
    if asked.min_rest_minutes is not None:
        parts.append(f"rest {words.number(asked.min_rest_minutes, decimals=0)} min or more")
    if asked.is_position_asked:
        parts.append("position")
    if not parts:
        return [("Preparation", "not asked for")]
    part = "part of the verdict" if asked.is_part_of_verdict else "counted apart from the verdict"
    return [("Preparation", f"{words.listed(parts)}; {part}")]


def _in_force_fact(key: str, days: dict[str, InForce]) -> tuple[str, str]:
    found = days.get(key)
    return "In force", f"from {found.from_day:%Y-%m-%d}" if found else "not in this network"


def _grade_table(item: GradeTable, days: dict[str, InForce]) -> Method:
    return Method(
        anchor=item.id,
        code=item.id,
        title=item.title,
        sentence=item.note,
        facts=(
            _in_force_fact(item.id, days),
            ("For", words.listed(item.techniques)),
            ("Bands", "; ".join(item.labels)),
        ),
        source=item.source,
        confidence=item.confidence,
        is_in_force=item.id in days,
    )


def _checks() -> tuple[Method, ...]:
    """One entry a code; the checks that share it read several columns."""
    return tuple(
        _check([check for check in CHECKS if check.code == code])
        for code in sorted({check.code for check in CHECKS})
    )


def _check(checks: list[Check]) -> Method:
    first = checks[0]
    columns = list(dict.fromkeys(name for check in checks for name in check.columns))
    is_held = first.severity == Severity.QUARANTINE
    return Method(
        anchor=first.code,
        code=first.code,
        title=first.sentence.rstrip("."),
        sentence="",
        facts=(
            ("Reads", ", ".join(columns)),
            ("A row that fails it", "waits in quarantine" if is_held else "comes in, flagged"),
            ("What to do", STEPS[first.code]),
        ),
        source="",
        confidence="",
    )


def _file_problems() -> tuple[Method, ...]:
    """A file with one of these is refused whole; the other files go on."""
    return tuple(
        Method(code, code, sentence.rstrip("."), "", (), "", "")
        for code, sentence in sorted(FILE_PROBLEMS.items())
    )


def _settings(published: Published) -> Table:
    settings = published.network.settings
    rows = tuple(
        (item.name, _setting(getattr(settings, item.name)))
        for item in fields(settings)
        if item.name != "port"
    )
    return Table("Settings of this network", ("Setting", "Value"), rows)


def _setting(value: object) -> str:
    return words.listed(value) or "none" if isinstance(value, tuple) else str(value)


def _outcomes() -> Table:
    rows = tuple((outcome.value, OUTCOME_SENTENCES[outcome]) for outcome in Outcome)
    return Table("Outcomes of an exam", ("Outcome", "What it means"), rows)
