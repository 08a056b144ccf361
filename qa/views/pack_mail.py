"""What the mail beside a pack says, and the one that reminds of what is overdue. Plain text."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from qa.model.definitions import Network
from qa.model.months import month_name
from qa.views import words


@dataclass(frozen=True)
class Mail:
    subject: str
    text: str


def pack_mail(
    network: Network,
    *,
    site_name: str,
    month: date,
    number: int,
    link: str,
    is_attached: bool,
    reason: str = "",
    changed: Sequence[str] = (),
) -> Mail:
    """Args: reason, changed: of a re-issue; "" and empty for a first issue."""
    title = f"audit pack {site_name}, {month_name(month)}"
    if number > 1:
        title += f" (issue {number})"
    where = "It is attached to this message. " if is_attached else ""
    lines = [
        f"The {title} is ready.",
        "",
        f"{where}Read it and sign it off here:" if link else where.strip(),
        link,
    ]
    if reason:
        lines += ["", f"It replaces issue {number - 1}. Why: {reason.rstrip('.')}."]
        lines += [f"- {one}" for one in changed]
    return Mail(f"{network.name}: {title}", _body(network, lines))


def reminder_mail(network: Network, *, lines: Sequence[tuple[str, str]], link: str) -> Mail:
    """Args: lines: what is overdue, and since when (a date as text)."""
    number = words.counted(len(lines), "follow-up")
    said = [f"- {what} (due {due_on})" for what, due_on in lines]
    text = [f"{number} of yours {'is' if len(lines) == 1 else 'are'} overdue:", "", *said]
    if link:
        text += ["", "See and decide here:", link]
    return Mail(f"{network.name}: {number} overdue", _body(network, text))


def _body(network: Network, lines: Sequence[str]) -> str:
    end = ["", "This message was written by a program. It speaks of how exams were done and of no"]
    end += ["patient."]
    if network.is_invented:
        end += ["All data of this network are invented."]
    return "\n".join([*lines, *end]) + "\n"
