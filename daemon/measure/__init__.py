"""Turning volts into readings one can trust."""
