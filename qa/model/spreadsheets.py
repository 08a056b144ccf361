"""What a spreadsheet program must not take for a formula."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""Source: OWASP, CSV Injection (the four signs, tab, return, line feed and the wide forms)."""


def safe_text(text: str) -> str:
    """Text that no spreadsheet runs: an apostrophe in front makes it text.

    Example: "=1+1" → "'=1+1"; "9.2" → "9.2"
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
