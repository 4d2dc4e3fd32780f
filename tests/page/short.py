"""A session of one short pull, for tests that need a forecast soon."""

ONE_PULL = """
schema = "coldside.session/1"
name = "One short pull"
[ambient]
temperature = "31 degC"
[[phases]]
kind = "pull"
on = "dyno"
from = "3200 rpm"
to = "6400 rpm"
duration = "9 s"
gear = 4
"""
TWO_PULLS = ONE_PULL.replace("One short pull", "Two short pulls") + 'repeat = 2\nrest = "20 s"\n'
WITH_LIMIT = ONE_PULL + '[[limits]]\nquantity = "intake"\nat_most = "20 degC"\n'
