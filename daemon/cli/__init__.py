"""The commands a grower types."""
