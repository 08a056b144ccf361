"""A program error, shown by where it happened: a message of it could hold a patient's values."""

import traceback
from pathlib import Path

_ROOT = Path(__file__).resolve().parents[2]


def crash_lines(error: BaseException) -> list[str]:
    """The way through the code and the kinds of the errors, without any of their messages."""
    lines = ["elastoqa: a program error, not yours. What was finished before it is kept."]
    chain = _chain(error)
    for number, one in enumerate(chain):
        for frame in traceback.extract_tb(one.__traceback__):
            lines.append(f"  {_place(frame.filename)}, line {frame.lineno}, in {frame.name}")
        kind = type(one)
        lines.append(f"  {kind.__module__}.{kind.__qualname__}")
        if number + 1 < len(chain):
            lines.append("  and while that was handled:")
    lines.append(
        "Messages and values are left out, because they could be a patient's. Send these lines to "
        "whoever keeps the program."
    )
    return lines


def _chain(error: BaseException) -> list[BaseException]:
    """The first cause first."""
    chain = [error]
    while True:
        last = chain[-1]
        earlier = last.__cause__ or (None if last.__suppress_context__ else last.__context__)
        if earlier is None or earlier in chain:
            return chain[::-1]
        chain.append(earlier)


def _place(filename: str) -> str:
    """The file without the folders above ours, or above a library."""
    path = Path(filename)
    if path.is_relative_to(_ROOT) and "site-packages" not in path.parts:
        return path.relative_to(_ROOT).as_posix()
    parts = path.parts
    return "/".join(
        parts[parts.index("site-packages") + 1 :] if "site-packages" in parts else parts[-2:]
    )
