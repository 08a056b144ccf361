"""What an intake did, and how a fault of our own is told without a value."""

import traceback
from collections import Counter
from dataclasses import dataclass, field

from qa.intake.checks import SENTENCES
from qa.jobs.intake_batch import Written
from qa.model.errors import SourceFileError, UserError
from qa.views import words

OUR_FAULT = "INT-043"
KEPT_FAULTS = 3


@dataclass
class IntakeReport:
    """What an intake did.

    waiting: code of a check → rows of this intake that wait because of it.
    problems: one for each refused file, in the order of the files.
    faults: the first errors of the program itself; their messages may hold values of patients, so
        only their kinds and places may be shown.
    """

    n_files_read: int = 0
    n_files_refused: int = 0
    n_files_known: int = 0
    n_accepted: int = 0
    n_unchanged: int = 0
    n_quarantined: int = 0
    waiting: dict[str, int] = field(default_factory=dict)
    problems: list[UserError] = field(default_factory=list)
    faults: list[BaseException] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Nothing was refused and nothing waits."""
        return not self.problems and not self.n_quarantined

    @property
    def has_fault_of_ours(self) -> bool:
        """The program failed on a file where it should have accepted or refused it."""
        return any(problem.code == OUR_FAULT for problem in self.problems)

    def keep_fault(self, fault: BaseException) -> None:
        """Keep where it happened, without the rows that the program held then."""
        if len(self.faults) < KEPT_FAULTS:
            traceback.clear_frames(fault.__traceback__)
            self.faults.append(fault)

    def add(self, written: Written) -> None:
        """Count one more file that was read."""
        self.n_files_read += 1
        self.n_accepted += written.n_accepted
        self.n_unchanged += written.n_unchanged
        self.n_quarantined += written.n_quarantined
        for code, n in Counter(written.codes).items():
            self.waiting[code] = self.waiting.get(code, 0) + n

    def waiting_lines(self) -> list[str]:
        """One line for each reason why rows wait, most rows first."""
        order = sorted(self.waiting.items(), key=lambda item: (-item[1], item[0]))
        return [f"{words.row_count(n)}  {code}  {SENTENCES[code]}" for code, n in order]


def our_fault(problem: BaseException, *, name: str) -> SourceFileError:
    """A refusal for a file on which the program failed; the problem's message may hold values."""
    return SourceFileError(
        f"the program failed on this file ({type(problem).__name__})",
        where=name,
        expected="a file that is read, or refused with a reason",
        todo="This is a fault of the program, not yours. Report it to whoever keeps the program, "
        "without the file; it stays where it is, and the other files went on",
        code=OUR_FAULT,
    )
