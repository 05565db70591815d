"""A club's own rules: started from an example, and tried by their own cases."""
