"""Chart frames → signals, worded and ranked by exams at stake."""

from qa.signals.find import find_signals

__all__ = ["find_signals"]
