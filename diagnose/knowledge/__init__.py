"""The rules as written by mechanics: read once, checked, typed and immutable."""
