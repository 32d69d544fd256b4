"""The other side of the wires: simulated chips, pins, probes, water."""
