"""The follow-up store: what people decide, with its trail. SQLite in WAL mode, or PostgreSQL."""
