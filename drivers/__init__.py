"""What touches wires: the rig seam, the ADC, the probes, the pumps and their keeper."""
