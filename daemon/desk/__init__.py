"""What people ask of a running daemon, and what is done about it."""
