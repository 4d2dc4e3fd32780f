"""The build as a whole: schema from the specifications, paths and their rule, reading, writing, what `check` prints."""
