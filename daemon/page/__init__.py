"""The page: looking from a phone. A process of its own that knows the control socket and the history only."""
