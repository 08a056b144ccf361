"""What people decide: records from events, decisions to events, and the chain that seals them."""
