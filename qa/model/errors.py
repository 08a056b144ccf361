"""Errors that people see.

UserError                      shown as one helpful line, no traceback, exit code of its class
├── WrongUse            2      an argument or option that does not fit
├── NetworkFolderError  10     network.toml or the folder is missing or wrong
├── SourceFileError     11     a file that cannot be read at all (empty, binary, encoding …)
├── ProfileError        12     a profile that is wrong or does not fit the file's columns
├── RowsQuarantined     13     the run is complete, but rows wait in quarantine
├── DefinitionError     14     a criteria set, grade table or measure is wrong
├── WarehouseError      15     the warehouse is busy, too new or damaged
├── SnapshotError       16     nothing published yet, or not readable
├── PackError           17     a pack cannot be made
├── VerificationFailed  18     a pack and its figures no longer agree
├── KeyMissing          19     the pseudonym key is lost or another one
├── ScenarioError       20     a demo scenario is wrong
├── ExportError         21     an export cannot be written
├── BackupError         22     a backup cannot be made, is no whole one, or has no place to go
├── AccessRefused       23     nobody is logged in, or the account may not do this
├── FollowupError       24     a decision that does not fit, or the follow-up store's trouble
├── TrailBroken         25     the trail was altered
├── DeliveryError       26     packs or reminders could not be delivered
└── MonthIncomplete     27     the month's run is over, but parts of it failed

Anything else is our bug: it keeps its traceback and exits with 1.
Messages say where, what was found, what was expected and what to do. They never hold a
patient's values.
"""

from dataclasses import dataclass
from typing import ClassVar


@dataclass
class UserError(Exception):
    """A problem that the reader of the message can mend.

    Args:
        what: what was found, in one clause.
        where: file, row, column or setting.
        expected: what would have been right.
        todo: what to do now.
        code: stable code that people can quote, for example "INT-003".
    """

    what: str
    where: str = ""
    expected: str = ""
    todo: str = ""
    code: str = ""
    exit_code: ClassVar[int] = 1

    def __post_init__(self) -> None:
        super().__init__(self.message)

    @property
    def message(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        parts = [head.rstrip(".") + "."]
        if self.expected:
            parts.append(f"Expected: {self.expected.rstrip('.')}.")
        if self.todo:
            parts.append(self.todo.rstrip(".") + ".")
        text = " ".join(parts)
        return f"[{self.code}] {text}" if self.code else text

    def __str__(self) -> str:
        return self.message


class WrongUse(UserError):
    exit_code = 2


class NetworkFolderError(UserError):
    exit_code = 10


class SourceFileError(UserError):
    exit_code = 11


class ProfileError(UserError):
    exit_code = 12


class RowsQuarantined(UserError):
    exit_code = 13


class DefinitionError(UserError):
    exit_code = 14


class WarehouseError(UserError):
    exit_code = 15


class SnapshotError(UserError):
    exit_code = 16


class PackError(UserError):
    exit_code = 17


class VerificationFailed(UserError):
    exit_code = 18


class KeyMissing(UserError):
    exit_code = 19


class ScenarioError(UserError):
    exit_code = 20


class ExportError(UserError):
    exit_code = 21


class BackupError(UserError):
    exit_code = 22


class AccessRefused(UserError):
    exit_code = 23


class FollowupError(UserError):
    exit_code = 24


class TrailBroken(UserError):
    exit_code = 25


class DeliveryError(UserError):
    exit_code = 26


class MonthIncomplete(UserError):
    exit_code = 27
