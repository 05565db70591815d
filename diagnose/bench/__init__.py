"""The bench: set-up and numbers. Each calculator takes a few inputs and gives a page, and findings for the rules."""
