"""Deciding how much, permitting it, writing it down."""
