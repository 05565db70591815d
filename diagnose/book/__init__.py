"""The book: every machine's history, kept in a database, and what a club's confirmed cases teach."""
