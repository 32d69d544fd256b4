"""What each fault of a probe costs before it is found: a grid over the whole program."""
