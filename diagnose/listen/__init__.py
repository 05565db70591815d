"""Listening: what a recording says about the engine. Sound -> envelope -> speed -> turns -> four-stroking and events ->
measures -> what the rules are told. The file is read twice, in parts, so that an hour needs no more memory than a minute
but for one small line of results every twentieth of a second."""
