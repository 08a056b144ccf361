"""Evidence for a lasting step of some exams' values from a month on, for every start at once."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StepEvidence:
    """log_factor: ln of the Bayes factor of a step against none; shift: its most likely size; both
    of shape (groups, months): the step begins with that month."""

    log_factor: Floats
    shift: Floats


class LevelledValues:
    """Values as lasting levels, a level of each patient, and noise; steps are weighed against that.

    Args:
        values: shape (exams,). design: lasting levels, shape (exams, columns).
        month: place of each exam's month, 0 to n_months - 1.
        patient: number of each exam's patient.
        spread: standard deviation of each column's level beforehand, about 0, shape (columns,).
    Method: normal priors and errors; the noise is what exams of one patient differ by, the rest of
        the variance belongs to patients (moments). The factor then has a closed form (Schur
        complement of the step's column). Patients who come again say most about a step.
    Weak when: exams of a month hang together; the noise differs much between groups.
    References: Kass and Raftery, JASA 1995; 90: 773-795; Bishop, Pattern Recognition and Machine
        Learning, 2006, section 3.5; Searle, Casella and McCulloch, Variance Components, 1992.
    """

    def __init__(
        self,
        values: ArrayLike,
        design: ArrayLike,
        month: ArrayLike,
        *,
        patient: ArrayLike,
        n_months: int,
        spread: ArrayLike,
    ) -> None:
        self.month = np.asarray(month, dtype=np.int64)
        self.patient = np.unique(np.asarray(patient), return_inverse=True)[1]
        self.n_months, self.prior = n_months, 1 / np.asarray(spread, float) ** 2
        x, y = np.asarray(design, float), np.asarray(values, float)
        self.noise = float(y.var()) or 1.0
        self.tie: NDArray[Any] = np.zeros(len(y))
        for _ in range(3):
            self._fit(x, y)
            self._set_variances(y - x @ self.level)
        self._fit(x, y)

    def _fit(self, x: Floats, y: Floats) -> None:
        self.weighed = self._weigh(x)
        inner = x.T @ self.weighed + np.diag(self.prior)
        self.inverse = np.linalg.inv(inner)
        self.weighed_values = self._weigh(y[:, None])[:, 0]
        self.level = self.inverse @ (x.T @ self.weighed_values)

    def _weigh(self, columns: Floats) -> Floats:
        """Inverse covariance of the exams times columns."""
        n = int(self.patient.max()) + 1
        sums = [np.bincount(self.patient, one, minlength=n)[self.patient] for one in columns.T]
        return np.asarray((columns - self.tie[:, None] * np.column_stack(sums)) / self.noise)

    def _set_variances(self, left: Floats) -> None:
        """Noise from exams of one patient; what is left of the variance is between patients."""
        n = np.bincount(self.patient)
        mean = np.bincount(self.patient, left) / n
        total = max(float((left**2).mean()), 1e-12)
        again = int((n - 1).sum())
        inside = float(((left - mean[self.patient]) ** 2).sum()) / again if again else total
        self.noise = min(max(inside, 0.02 * total), total)
        between = total - self.noise
        self.tie = (between / (self.noise + n * between))[self.patient]

    def steps(
        self, groups: ArrayLike, *, shift_spread: float, months: ArrayLike | None = None
    ) -> StepEvidence:
        """Evidence of a step of each group at each month.

        Args: groups: exams that move together, shape (groups, exams), true or false.
            shift_spread: standard deviation of a step beforehand, in units of the values.
            months: place of the month with which each exam moves; None: its own.
        """
        members = np.asarray(groups, dtype=bool)
        shape = len(members), self.n_months
        factor, shift = np.zeros(shape), np.zeros(shape)
        moves_with = self.month if months is None else np.asarray(months, dtype=np.int64)
        for k, rows in enumerate(members):
            seen, information = self._from_month_on(rows, moves_with)
            precision = information + 1 / shift_spread**2
            shift[k] = seen / precision
            factor[k] = 0.5 * seen**2 / precision - 0.5 * np.log(precision * shift_spread**2)
        return StepEvidence(factor, shift)

    def size_of(self, rows: NDArray[np.bool_]) -> tuple[float, float]:
        """Most likely step of some exams with nothing held beforehand, and its standard error."""
        columns = self.weighed[rows].sum(axis=0)
        seen = self.weighed_values[rows].sum() - columns @ self.level
        information = max(self._own(rows) - columns @ self.inverse @ columns, 1e-12)
        return float(seen / information), float(information**-0.5)

    def _from_month_on(
        self, rows: NDArray[np.bool_], moves_with: NDArray[np.int64]
    ) -> tuple[Floats, Floats]:
        """What exams of some rows from each month on say of a step beyond the lasting levels:
        (sum weighed by precision, information), each of shape (months,)."""
        month = moves_with[rows]
        order = np.argsort(month, kind="stable")
        edges = np.searchsorted(month[order], np.arange(self.n_months))
        columns = _sums_from(self.weighed[rows][order], edges)
        total = _sums_from(self.weighed_values[rows][order][:, None], edges)[:, 0]
        seen = total - columns @ self.level
        own = np.array([self._own(rows & (moves_with >= k)) for k in range(self.n_months)])
        information = own - np.einsum("ij,jk,ik->i", columns, self.inverse, columns)
        return seen, np.maximum(information, 0.0)

    def _own(self, rows: NDArray[np.bool_]) -> float:
        here = self.patient[rows]
        again = np.bincount(here)[here]
        return float((1 - self.tie[rows] * again).sum() / self.noise)


def _sums_from(rows: Floats, edges: NDArray[np.int64]) -> Floats:
    """Sum of all rows from each edge on."""
    running = np.vstack([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)])
    return np.asarray(running[-1] - running[edges])
