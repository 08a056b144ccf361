"""Steps that bring a follow-up store forward; alembic runs them."""
