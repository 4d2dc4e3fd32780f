"""The build as a whole: reading with line numbers, the models made from the field metadata, paths, defaults.

Public: `files.load_build`, `files.save`, `editing.set_value` and its like, `check.describe`, `model.Build`.  Read
next: `files.py` (which tables a build has), `paths.py` (the rule of sides), `editing.py` (changes to a file's text).
"""
