"""The walk at the terminal. It decides nothing: it asks, shows and records."""
