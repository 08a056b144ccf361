"""Published rates beside a measure, where definition and criteria match."""

from qa.model.comparison_rate import ComparisonRate
from qa.model.published import Published
from qa.views import words
from qa.views.method import Method

ONLY = "For comparison only: no target and no limit, and the patients may differ."


def rates_text(published: Published, measure_id: str, criteria_id: str | None) -> str:
    """One sentence for each published rate that counts the same; "" where there is none.

    Example: 'Published: 3.1 % of 13,369 exams (one French centre …; Castera et al. …). For
    comparison only …'
    """
    fitting = [one for one in _rates(published) if one.fits(measure_id, criteria_id)]
    if not fitting:
        return ""
    each = "; ".join(
        f"{words.percent(one.value)} of {words.counted(one.n, 'exam')} ({one.population}; "
        f"{one.source})"
        for one in fitting
    )
    return f"Published with the same definition: {each}. {ONLY}"


def rate_methods(published: Published) -> tuple[Method, ...]:
    """Every published rate with what it counts and which measure counts the same."""
    return tuple(_method(published, one) for one in _rates(published))


def _rates(published: Published) -> list[ComparisonRate]:
    rates = published.definitions.rates
    return [rates[key] for key in sorted(rates)]


def _method(published: Published, rate: ComparisonRate) -> Method:
    measure = published.definitions.measures.get(rate.measure)
    sets = words.listed(list(rate.criteria)) if rate.criteria else "any criteria set"
    return Method(
        anchor=rate.id,
        code=rate.id,
        title=f"{words.percent(rate.value)} of {words.counted(rate.n, 'exam')}",
        sentence=ONLY,
        facts=(
            ("Counts", rate.definition),
            ("The same as", f"{measure.title if measure else rate.measure}, under {sets}"),
            ("Population", rate.population),
            ("Technique", words.listed(list(rate.techniques))),
        ),
        source=rate.source,
        confidence=rate.confidence,
    )
