"""Whether it may be left alone for some days."""
