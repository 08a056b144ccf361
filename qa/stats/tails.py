"""How unlikely a count this large or this small is: exact tails of binomial and Poisson counts."""

from scipy.special import bdtr, bdtrc, pdtrc


def binomial_upper(found: int, n: int, share: float) -> float:
    """Chance of `found` or more of `n`.

    Args:
        found: 0..n. share: chance of each, 0..1.
    Returns: P(X ≥ found); 1.0 for found 0.
    Weak when: the events come in bunches; then the true chance is larger.
    Example: 3 of 3 at 0.5 → 0.125
    """
    return 1.0 if found <= 0 else float(bdtrc(found - 1, n, share))


def binomial_lower(found: int, n: int, share: float) -> float:
    """Chance of `found` or fewer of `n`.

    Example: 0 of 3 at 0.5 → 0.125
    """
    return float(bdtr(found, n, share))


def poisson_upper(found: float, expected: float) -> float:
    """Chance of `found` or more where `expected` are.

    Example: 1 where 0.5 are expected → 1 - exp(-0.5) = 0.3935
    """
    return 1.0 if found <= 0 else float(pdtrc(found - 1, expected))
