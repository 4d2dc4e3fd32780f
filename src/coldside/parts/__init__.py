"""One module a kind of part: its specification, which is what the user writes, and its physics as pure functions."""
