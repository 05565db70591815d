"""Find the real cause of a fault in a small petrol two-stroke, and prove the fix."""

__version__ = "0.1.0"
