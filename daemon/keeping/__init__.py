"""One reservoir: what it shows, decides, is allowed and does."""
