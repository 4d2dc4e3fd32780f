"""Numbers in sentences: rounding, units, ordinals, times."""

from __future__ import annotations

import pytest

from coldside.judge.wording import Quantity, Sentence, clock, counted, duration, ordinal, shown


@pytest.mark.parametrize(
    ("value", "kind", "digits", "si", "us"),
    [
        (327.15, "temperature", 0, "54 degC", "129 degF"),
        (272.95, "temperature", 0, "0 degC", "32 degF"),
        (330.65, "temperature", 1, "57.5 degC", "135.5 degF"),
        (6.0, "temperature_difference", 0, "6 K", "11 degF"),
        (0.3, "temperature_difference", 0, "less than 1 K", "1 degF"),
        (0.0, "temperature_difference", 0, "0 K", "0 degF"),
        (25.0, "temperature_difference", 1, "25 K", "45 degF"),
        (0.853, "share", 0, "85 %", "85 %"),
        (0.048, "share", 1, "4.8 %", "4.8 %"),
        (0.004, "share", 0, "less than 1 %", "less than 1 %"),
        (0.0, "share", 0, "0 %", "0 %"),
        (-0.1, "points", 0, "-10 points", "-10 points"),
        (75.4, "clock", 0, "1:15", "1:15"),
        (12.2, "time", 0, "12 s", "12 s"),
    ],
)
def test_shown(value, kind, digits, si, us):
    assert shown(Quantity(value, kind, digits), "si") == si
    assert shown(Quantity(value, kind, digits), "us") == us


def test_sentence_keeps_words_as_they_stand():
    sentence = Sentence("{part} is at {t}.", {"part": "odd {name}", "t": Quantity(300.15, "temperature")})
    assert sentence.words("si") == "odd {name} is at 27 degC."


def test_times():
    assert [clock(s) for s in (0.0, 59.6, 3599.0, 3723.0)] == ["0:00", "1:00", "59:59", "1:02:03"]
    assert [duration(s) for s in (0.42, 9.96, 99.6, 200.0, 3600.0)] == [
        "0.4 s",
        "10 s",
        "1 min 40 s",
        "3 min 20 s",
        "60 min",
    ]


def test_counting():
    assert [counted(n, "pull") for n in (1, 4, 15)] == ["one pull", "four pulls", "15 pulls"]
    assert [ordinal(n) for n in (1, 5, 12, 13, 21, 22, 111)] == [
        "first",
        "fifth",
        "twelfth",
        "13th",
        "21st",
        "22nd",
        "111th",
    ]


def test_nouns_that_end_in_a_hiss_take_es():
    assert [counted(1, "pass"), counted(2, "pass"), counted(15, "lap")] == ["one pass", "two passes", "15 laps"]
