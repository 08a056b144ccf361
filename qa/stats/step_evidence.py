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
        columns = (np.bincount(self.patient, one) for one in (*x.T, y))
        self._of_patient = np.column_stack(list(columns))
        self._together = np.column_stack([x, y])
        self._products = x.T @ self._together
        for _ in range(3):
            self._fit()
            self._set_variances(y - x @ self.level)
        self._fit()
        weighed = self._together - self.tie[:, None] * self._of_patient[self.patient]
        weighed /= self.noise
        self.weighed, self.weighed_values = weighed[:, :-1], weighed[:, -1]

    def _fit(self) -> None:
        """Levels given the variances; exams of one patient hang together by their sums alone."""
        sums = self._of_patient
        tie = np.zeros(len(sums))
        tie[self.patient] = self.tie
        products = (self._products - (sums[:, :-1] * tie[:, None]).T @ sums) / self.noise
        self.inverse = np.linalg.inv(products[:, :-1] + np.diag(self.prior))
        self.level = self.inverse @ products[:, -1]

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
        month = np.arange(self.n_months)[:, None]
        since = (moves_with[rows] >= month).astype(float)
        columns, total = since @ self.weighed[rows], since @ self.weighed_values[rows]
        seen = total - columns @ self.level
        own = np.array([self._own(rows & (moves_with >= k)) for k in range(self.n_months)])
        information = own - np.einsum("ij,jk,ik->i", columns, self.inverse, columns)
        return seen, np.maximum(information, 0.0)

    def _own(self, rows: NDArray[np.bool_]) -> float:
        here = self.patient[rows]
        again = np.bincount(here)[here]
        return float((1 - self.tie[rows] * again).sum() / self.noise)
