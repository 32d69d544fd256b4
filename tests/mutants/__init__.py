"""Each interlock and each cap check taken out in turn: at least one test must fail."""
