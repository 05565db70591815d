"""From findings to conclusions (rules fire here) and from conclusions to ranked causes."""
