"""Charts: what is drawn, and the three ways of drawing it."""
