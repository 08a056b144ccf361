"""Accounts and logging in: the only door to them, for screens and commands."""
