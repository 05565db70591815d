"""Tools for those who write rules: start, try, show, compare, print."""
