"""The only door to the follow-up store, for screens and commands: a file for each record class."""
