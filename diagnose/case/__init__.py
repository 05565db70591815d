"""A case: what was said and done about one fault, as an append-only log from which every state is recomputed."""
