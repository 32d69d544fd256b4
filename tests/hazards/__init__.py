"""What must never happen, one file or test for each hazard, named by its number."""
