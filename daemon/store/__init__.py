"""What the waters did, minute by minute, for as long as anyone may want to look back."""
