"""Templates with one mistake each: the message, the key and the line."""

from __future__ import annotations

from typing import NamedTuple

import pytest
from events_text import EVENTS_TEXT

from quarantine.protocol import Problem, ProtocolError, read, shipped

WATCH = (
    """\
format = 1
id = "watch"
revision = 1
title = "Watch"
summary = "Watch only."
author = "a keeper"
date = 2026-11-25
water = "fresh"
fish = "any fish"

[[reference]]
key = "book"
cite = "A book, 2020"
status = "read"

[[period]]
id = "observation"
title = "Observation"
length = "30 d"
counts = "calendar"
start = { entered = "0 d" }
references = ["book"]

[[step]]
id = "look"
kind = "look"
title = "Look"
start = { arrival = "0 d" }
repeat = { every = "1 d", until = "observation" }
references = ["book"]

[[step]]
id = "tests"
kind = "test"
title = "Test"
start = { arrival = "1 d" }
repeat = { every = "6 h", times = 3, latest = "9 h", then = "keep" }
window = { from = "08:00", until = "20:00", late = "2 h", weekdays = ["mon", "thu"] }
reads = ["tan", "ph", "temperature"]
references = ["book"]

[[step]]
id = "change"
kind = "change"
title = "Change"
start = { after = "tests", by = "12 h" }
fraction = "25 %"
before = [{ word = "Water is ready" }]
references = ["book"]

"""
    + EVENTS_TEXT
    + """
[[criterion]]
period = "observation"

[[criterion]]
reading = "uia"
max = "0.05 mg/L"
within = "24 h"
reference = "book"

[[criterion]]
counts = "balanced"

[[criterion]]
tasks = "settled"
"""
)


class Case(NamedTuple):
    """A change to a sound template, a piece of the line where it is found, and what is said about it."""

    name: str
    old: str
    new: str
    at: str
    key: str
    message: str


def _gate(check: str) -> str:
    return f"expected a before-check {check} (rule C8), got nothing"


BROKEN = [
    Case(
        "unknown key",
        'title = "Look"',
        'titel = "Look"\ntitle = "Look"',
        "titel",
        "step[look].titel",
        """expected a known key, got "titel"; did you mean 'title'?""",
    ),
    Case(
        "unknown table",
        "[events]",
        "[evnts]\nx = 1\n[events]",
        "[evnts]",
        "evnts",
        """expected a known key, got "evnts"; did you mean 'events'?""",
    ),
    Case(
        "unknown key without a near name",
        'counts = "calendar"',
        'counts = "calendar"\nzzz = 1',
        "zzz",
        "period[observation].zzz",
        'expected a known key, got "zzz"; the keys here are id, title, length, counts, reading, min, max, start, '
        "references",
    ),
    Case(
        "missing revision",
        "revision = 1\n",
        "",
        "format",
        "revision",
        "expected a whole number from 1 to 9999, got nothing",
    ),
    Case(
        "missing date",
        "date = 2026-11-25\n",
        "",
        "format",
        "date",
        "expected a date without quotes such as 2026-11-25, got nothing",
    ),
    Case(
        "date as text",
        "date = 2026-11-25",
        'date = "2026-11-25"',
        "date",
        "date",
        'expected a date without quotes such as 2026-11-25, got "2026-11-25"',
    ),
    Case(
        "date with a time",
        "date = 2026-11-25",
        "date = 2026-11-25T08:00:00",
        "date",
        "date",
        "expected a date without quotes such as 2026-11-25, got 2026-11-25 08:00:00",
    ),
    Case(
        "revision true",
        "revision = 1",
        "revision = true",
        "revision",
        "revision",
        "expected a whole number from 1 to 9999, got true",
    ),
    Case(
        "revision zero",
        "revision = 1",
        "revision = 0",
        "revision",
        "revision",
        "expected a whole number from 1 to 9999, got 0",
    ),
    Case("empty title", 'title = "Watch"', 'title = " "', "title", "title", 'expected a text, got ""'),
    Case(
        "control character",
        'title = "Watch"',
        'title = "Wat\\u0007ch"',
        "title",
        "title",
        'expected a text without control characters, got "Wat\\x07ch"',
    ),
    Case(
        "unknown water",
        'water = "fresh"',
        'water = "frsh"',
        "water",
        "water",
        """expected one of fresh, brackish, marine, any, got "frsh"; did you mean 'fresh'?""",
    ),
    Case(
        "id with a space",
        'id = "look"',
        'id = "look up"',
        'id = "look up"',
        "step[look up].id",
        'expected a name of letters, digits and hyphens, 40 at most, got "look up"',
    ),
    Case(
        "id used twice",
        'id = "change"',
        'id = "look"',
        'id = "look"\nkind = "change"',
        "step[look].id",
        'expected a name used once (steps and periods share them), got "look"; first used in line 24',
    ),
    Case(
        "unknown kind",
        'kind = "look"',
        'kind = "watch"',
        "kind",
        "step[look].kind",
        'expected one of look, feed, test, change, dose, chore, move, got "watch"',
    ),
    Case(
        "length without unit",
        'length = "30 d"',
        "length = 30",
        "length",
        "period[observation].length",
        'expected days such as "4 d", got 30',
    ),
    Case(
        "length in hours",
        'length = "30 d"',
        'length = "30 h"',
        "length",
        "period[observation].length",
        'expected days such as "4 d", got "30 h"',
    ),
    Case(
        "length zero",
        'length = "30 d"',
        'length = "0 d"',
        "length",
        "period[observation].length",
        'expected days such as "4 d", got "0 d"',
    ),
    Case(
        "start without a kind",
        'start = { arrival = "0 d" }',
        "start = { }",
        "start = { }",
        "step[look].start",
        "expected exactly one of arrival, entered, after, begun, between, sign, reading, word, got nothing",
    ),
    Case(
        "start with two kinds",
        'start = { arrival = "0 d" }',
        'start = { arrival = "0 d", entered = "0 d" }',
        'entered = "0 d" }\nrepeat',
        "step[look].start",
        "expected exactly one of arrival, entered, after, begun, between, sign, reading, word, got "
        '"arrival and entered"',
    ),
    Case(
        "start is text",
        'start = { arrival = "0 d" }',
        'start = "0 d"',
        'start = "0 d"',
        "step[look].start",
        'expected a table (arrival, entered, after, begun, between, sign, reading, word, by, min, max), got "0 d"',
    ),
    Case(
        "arrival with by",
        'arrival = "0 d" }',
        'arrival = "0 d", by = "1 d" }',
        'by = "1 d"',
        "step[look].start.by",
        'expected no `by`: arrival holds the time itself, got "1 d"',
    ),
    Case(
        "start after an unknown step",
        'after = "tests"',
        'after = "test"',
        'after = "test"',
        "step[change].start.after",
        """expected a step or a period of this protocol, got "test"; did you mean 'tests'?""",
    ),
    Case(
        "begun names a period",
        'after = "tests"',
        'begun = "observation"',
        "begun",
        "step[change].start.begun",
        'expected a step of this protocol, got "observation"; known: look, tests, change',
    ),
    Case(
        "start by a reading without limits",
        'after = "tests"',
        'reading = "ph"',
        "reading",
        "step[change].start",
        "expected `min`, `max` or both beside a reading, got nothing",
    ),
    Case(
        "start by an unknown sign", 'after = "tests"', 'sign = "flashin"', "sign = ", "step[change].start.sign", "SIGN"
    ),
    Case(
        "start waits for itself",
        '{ arrival = "1 d" }',
        '{ after = "change" }',
        'start = { after = "change"',
        "step[tests].start",
        'expected a start that does not wait for itself, got "tests → change → tests"',
    ),
    Case(
        "period waits for a step that repeats until it",
        '{ entered = "0 d" }',
        '{ after = "look" }',
        'start = { after = "look"',
        "period[observation].start",
        'expected a start that does not wait for itself, got "look → observation → look"',
    ),
    Case(
        "until names no period",
        'until = "observation"',
        'until = "look"',
        "until",
        "step[look].repeat.until",
        'expected a period of this protocol, got "look"; known: observation',
    ),
    Case(
        "repeat without end",
        ', until = "observation" }',
        " }",
        'every = "1 d"',
        "step[look].repeat",
        "expected exactly one of times, until, got nothing",
    ),
    Case(
        "repeat with two ends",
        ', until = "observation" }',
        ', until = "observation", times = 3 }',
        'every = "1 d"',
        "step[look].repeat",
        'expected exactly one of times, until, got "times and until"',
    ),
    Case(
        "repeat every zero",
        'every = "1 d"',
        'every = "0 d"',
        'every = "0 d"',
        "step[look].repeat.every",
        'expected a time above zero, got "0 d"',
    ),
    Case(
        "repeat in weeks",
        'every = "1 d"',
        'every = "1 week"',
        "every",
        "step[look].repeat.every",
        'expected days such as "4 d" or hours such as "72 h", got "1 week"',
    ),
    Case(
        "latest with days",
        'every = "6 h"',
        'every = "1 d"',
        "latest",
        "step[tests].repeat.latest",
        'expected `latest` only where the repeat is in hours, got "9 h"',
    ),
    Case(
        "latest before the repeat",
        'every = "6 h"',
        'every = "10 h"',
        "latest",
        "step[tests].repeat.latest",
        'expected at least the time between two runs, got "9 h"',
    ),
    Case(
        "latest without then",
        ', then = "keep" }',
        " }",
        "latest",
        "step[tests].repeat.then",
        "expected what happens after `latest` (reopen, keep or shift), got nothing",
    ),
    Case(
        "then without latest",
        ', latest = "9 h"',
        "",
        "then",
        "step[tests].repeat.then",
        'expected `then` only beside `latest`, got "keep"',
    ),
    Case(
        "bands overlap",
        'every = "6 h", times = 3, latest = "9 h", then = "keep"',
        'times = 3, by_temperature = [{ below = "24 °C", every = "4 d" }, { at_least = "20 °C", every = "2 d" }]',
        "by_temperature",
        "step[tests].repeat.by_temperature[2]",
        'expected rows from cold to warm that do not overlap, got "an overlap"',
    ),
    Case(
        "window backwards",
        'from = "08:00"',
        'from = "21:00"',
        "window",
        "step[tests].window.until",
        'expected a time after 21:00 on the same day, got "20:00"',
    ),
    Case(
        "time that is none",
        'from = "08:00"',
        'from = "8:00"',
        "window",
        "step[tests].window.from",
        'expected a local time such as "08:00", got "8:00"',
    ),
    Case(
        "weekday that is none",
        '["mon", "thu"]',
        '["mon", "thr"]',
        "weekdays",
        "step[tests].window.weekdays[2]",
        """expected one of mon, tue, wed, thu, fri, sat, sun, got "thr"; did you mean 'thu'?""",
    ),
    Case(
        "change without a fraction",
        'fraction = "25 %"\n',
        "",
        '[[step]]\nid = "change"',
        "step[change].fraction",
        "expected `fraction`, because a change needs it, got nothing",
    ),
    Case(
        "empty list",
        'before = [{ word = "Water is ready" }]',
        "before = []",
        "before",
        "step[change].before",
        "expected a list, each a table of condition, got an empty list",
    ),
    Case(
        "reads nothing known",
        '"ph", "temperature"]',
        '"ph", "temperature", "iodine"]',
        "reads",
        "step[tests].reads[4]",
        "expected one of temperature, ph, tan, nitrite, nitrate, oxygen, salinity, alkalinity, hardness, copper, "
        'got "iodine"',
    ),
    Case(
        "fraction in a look",
        'title = "Look"',
        'title = "Look"\nfraction = "25 %"',
        "fraction",
        "step[look].fraction",
        'expected `fraction` only in a change, got "25 %"',
    ),
    Case(
        "fraction without unit",
        '"25 %"',
        "25",
        "fraction",
        "step[change].fraction",
        'expected a percentage above 0 up to 100 such as "25 %", got 25',
    ),
    Case(
        "fraction over all",
        '"25 %"',
        '"125 %"',
        "fraction",
        "step[change].fraction",
        'expected a percentage above 0 up to 100 such as "25 %", got "125 %"',
    ),
    Case(
        "step without references",
        'fraction = "25 %"\nbefore = [{ word = "Water is ready" }]\nreferences = ["book"]',
        'fraction = "25 %"',
        '[[step]]\nid = "change"',
        "step[change].references",
        "expected a list, each a name of letters, digits and hyphens, 40 at most, got nothing",
    ),
    Case(
        "unknown reference",
        'repeat = { every = "1 d", until = "observation" }\nreferences = ["book"]',
        'repeat = { every = "1 d", until = "observation" }\nreferences = ["bok"]',
        '["bok"]',
        "step[look].references[1]",
        """expected the key of a [[reference]], got "bok"; did you mean 'book'?""",
    ),
    Case(
        "reference nothing names",
        "[[period]]",
        '[[reference]]\nkey = "unread"\ncite = "Another"\nstatus = "read"\n\n[[period]]',
        'key = "unread"',
        "reference[unread].key",
        'expected a reference that something names, got "unread"',
    ),
    Case(
        "unknown status",
        'status = "read"',
        'status = "sure"',
        "status",
        "reference[book].status",
        'expected one of read, second-hand, common practice, from memory, got "sure"',
    ),
    Case(
        "missing source",
        'cite = "A book, 2020"\n',
        "",
        "[[reference]]",
        "reference[book].cite",
        "expected a text, got nothing",
    ),
    Case(
        "event left out",
        'death = "restart"\n',
        "",
        "[events]",
        "events.death",
        "expected one of pause, extend, restart, note, got nothing",
    ),
    Case(
        "outbreak only noted",
        'outbreak = "restart"',
        'outbreak = "note"',
        "outbreak",
        "events.outbreak",
        'expected restart, because rule A7 says so, got "note"',
    ),
    Case(
        "no head count at sign-off",
        '[[criterion]]\ncounts = "balanced"\n',
        "",
        "[[criterion]]",
        "criterion",
        'expected a criterion {counts = "balanced"}, got nothing',
    ),
    Case(
        "two conditions in one",
        'counts = "balanced"',
        'counts = "balanced"\nclear_days = 14',
        "[[criterion]]\ncounts",
        "criterion[3]",
        'CONDITION got "clear_days and counts"',
    ),
    Case(
        "figure without a reference",
        'within = "24 h"\nreference = "book"',
        'within = "24 h"',
        "[[criterion]]\nreading",
        "criterion[2].reference",
        "expected the key of a [[reference]], because this condition holds a figure, got nothing",
    ),
    Case("limit without unit", 'max = "0.05 mg/L"', 'max = "0.05"', "max", "criterion[2].max", "LIMIT"),
    Case(
        "limits crossed",
        'max = "0.05 mg/L"',
        'min = "1 mg/L"\nmax = "0.05 mg/L"',
        "min",
        "criterion[2].min",
        'expected at most the max 0.05 mg/L, got "1 mg/L"',
    ),
    Case(
        "reading of any age",
        'within = "24 h"\n',
        "",
        "[[criterion]]\nreading",
        "criterion[2].within",
        'expected how old the reading may be, in hours such as "24 h", got nothing',
    ),
    Case(
        "reading nobody takes",
        '"tan", "ph", "temperature"]',
        '"tan"]',
        'reading = "uia"',
        "criterion[2].reading",
        'expected a test step that reads ph and temperature, got "uia"',
    ),
    Case(
        "limit beside a word",
        '{ word = "Water is ready" }',
        '{ word = "Water is ready", max = "1 mg/L" }',
        "before = ",
        "step[change].before[1].max",
        'expected no `max`: word has no limits, got "1 mg/L"',
    ),
    Case(
        "criterion of an unknown period",
        '[[criterion]]\nperiod = "observation"',
        '[[criterion]]\nperiod = "observations"',
        'period = "observations"',
        "criterion[1].period",
        """expected a period of this protocol, got "observations"; did you mean 'observation'?""",
    ),
    Case(
        "level of an unknown substance",
        'counts = "balanced"',
        'counts = "balanced"\n[[criterion]]\nlevel = "praziquantl"\nat_most = "5 %"\nreference = "book"',
        "level",
        "criterion[4].level",
        """expected a substance of the formulary, got "praziquantl"; did you mean 'praziquantel'?""",
    ),
]

DOSE = [
    Case(
        "no cautions",
        "CAUTIONS",
        "",
        "",
        "cautions",
        "expected a list of cautions, because the template is medicated, got nothing",
    ),
    Case(
        "unknown regimen",
        'regimen = "Z01"',
        'regimen = "Q99"',
        'regimen = "Q99"',
        "step[dose].treatment.regimen",
        "REGIMEN",
    ),
    Case(
        "regimen for other water",
        'water = "marine"',
        'water = "fresh"',
        'regimen = "Z01"',
        "step[dose].treatment.regimen",
        'expected a regimen for fresh water, got "Z01"; Z01 is for marine water',
    ),
    Case(
        "mode left out",
        'mode = "as published"\n',
        "",
        "[step.treatment]",
        "step[dose].treatment.mode",
        "expected one of as published, replace removed, top up to a reading, got nothing",
    ),
    Case(
        "mode the regimen has not",
        'mode = "as published"',
        'mode = "top up to a reading"',
        "mode",
        "step[dose].treatment.mode",
        'expected a mode Z01 allows (as published, replace removed), got "top up to a reading"',
    ),
    Case(
        "target outside the bounds",
        'mode = "as published"',
        'mode = "as published"\ntarget = "20 mg/L"',
        "target",
        "step[dose].treatment.target",
        'expected an amount inside the bounds of Z01 (2 to 2 mg/L), got "20 mg/L"',
    ),
    Case(
        "in full after a change, and as much as it took out",
        'mode = "as published"',
        'mode = "replace removed"\nafter_change = "full"',
        "after_change",
        "step[dose].treatment.after_change",
        'expected no `after_change`, got "full"; mode "replace removed" says already what a change calls for',
    ),
    Case(
        "clearing left out",
        "CLEARING",
        "",
        "[step.treatment]",
        "step[dose].treatment.clearing",
        "expected a sentence that says when clearing begins, got nothing; "
        "the source of the regimen is silent on contact time (rule C5)",
    ),
    Case(
        "too many doses",
        'every = "4 d", times = 2',
        'every = "4 d", times = 3',
        "times = 3",
        "step[dose].repeat.times",
        "expected at most the 2 doses of Z01, got 3",
    ),
    Case(
        "doses too close",
        'every = "4 d", times = 2',
        'every = "3 d", times = 2',
        'every = "3 d"',
        "step[dose].repeat.every",
        'expected at least the gap of Z01 (4 d), got "3 d"',
    ),
    Case(
        "course without a number",
        'every = "4 d", times = 2',
        'every = "4 d", until = "observation"',
        'every = "4 d"',
        "step[dose].repeat.until",
        'expected `times`, because a course of doses has a number, got "observation"',
    ),
    Case(
        "from left out",
        ', times = 2, from = "given"',
        ", times = 2",
        "times = 2",
        "step[dose].repeat.from",
        "expected planned or given, because a repeated dose must say so, got nothing",
    ),
    Case(
        "no after_window",
        'after_window = "shift"\nwho',
        "who",
        '[[step]]\nid = "dose"',
        "step[dose].after_window",
        "expected shift, keep or reopen, because a dose must say so (rule A11), got nothing",
    ),
    Case(
        "no window",
        'window = { from = "08:00", until = "20:00" }\n',
        "",
        '[[step]]\nid = "dose"',
        "step[dose].window",
        "expected a table with from and until, because a dose must say so (rule A11), got nothing",
    ),
    Case(
        "anyone may dose",
        'who = "adult"',
        'who = "anyone"',
        'who = "anyone"',
        "step[dose].who",
        'expected keeper or adult, because not everyone handles medicine (rule C19), got "anyone"',
    ),
    Case(
        "other water than the treatment",
        'for = "system"\nstart = { arrival = "3 d" }',
        'for = "tank"\nstart = { arrival = "3 d" }',
        'for = "tank"',
        "step[dose].for",
        'expected system, the water of the treatment, got "tank"',
    ),
    Case(
        "nothing puts the carbon back",
        'kind = "chore"\ntitle = "Put',
        'kind = "feed"\ntitle = "Put',
        "off = ",
        "step[dose].treatment.off",
        "expected a later chore that puts this back (rule C10), got a list",
    ),
    Case(
        "no treatment",
        "TREATMENT",
        "",
        '[[step]]\nid = "dose"',
        "step[dose].treatment",
        "expected `treatment`, because a dose needs it, got nothing",
    ),
    Case(
        "gate: day too early",
        "day = 3\n",
        "day = 2\n",
        "[[step.before]]",
        "step[dose].before",
        "expected a before-check {day = 3} or later (rule C8), got nothing",
    ),
    Case(
        "gate: ate once",
        "ate = 2\n",
        "ate = 1\n",
        "[[step.before]]",
        "step[dose].before",
        "expected a before-check {ate = 2} or more (rule C8), got nothing",
    ),
    Case(
        "gate: signs not asked",
        '[[step.before]]\nno_sign = "A"\n',
        "",
        "[[step.before]]",
        "step[dose].before",
        _gate('{no_sign = "A"}'),
    ),
    Case(
        "gate: ammonia limit too high",
        'max = "0.05 mg/L"\nwithin = "24 h"',
        'max = "0.5 mg/L"\nwithin = "24 h"',
        "[[step.before]]",
        "step[dose].before",
        _gate('{reading = "uia", max = "0.05 mg/L", within = "24 h"} or stricter'),
    ),
    Case(
        "gate: ammonia by word",
        'max = "0.05 mg/L"\nwithin = "24 h"',
        'max = "0.05 mg/L"\nwithin = "24 h"\nor_word = "It smells fine"',
        "[[step.before]]",
        "step[dose].before",
        _gate('{reading = "uia", max = "0.05 mg/L", within = "24 h"} or stricter'),
    ),
    Case(
        "gate: old nitrite",
        'max = "0.125 mg/L"\nwithin = "24 h"',
        'max = "0.125 mg/L"\nwithin = "48 h"',
        "[[step.before]]",
        "step[dose].before",
        _gate('{reading = "nitrite", max = ..., within = "24 h"} or stricter'),
    ),
    Case(
        "gate: temperature of an hour",
        'max = "28 °C"\nwithin = "24 h"',
        'max = "28 °C"\nwithin = "1 h"',
        "[[step.before]]",
        "step[dose].before",
        _gate('{steady = "temperature", min = ..., max = ..., within = "24 h"} or longer'),
    ),
    Case(
        "gate: little oxygen",
        'min = "5 mg/L"',
        'min = "3 mg/L"',
        "[[step.before]]",
        "step[dose].before",
        _gate('{reading = "oxygen", min = "5 mg/L", or_word = "..."} or stricter'),
    ),
    Case(
        "gate: a misspelt check is told once",
        'max = "0.05 mg/L"\nwithin = "24 h"',
        'max = "0.05 mg/L"\nwithn = "24 h"\nwithin = "24 h"',
        "withn",
        "step[dose].before[4].withn",
        """expected a known key, got "withn"; did you mean 'within'?""",
    ),
]


def _medicated() -> str:
    return shipped()["marine-praziquantel"].read_text(encoding="utf-8")


def _cut(text: str, case: Case) -> str:
    """The template with the mistake in it; three cases cut out what is too long to write out."""
    if case.old == "CAUTIONS":
        start = text.index("cautions = [")
        return text[:start] + text[text.index("]\n", start) + 2 :]
    if case.old == "CLEARING":
        start = text.index("clearing = ")
        return text[:start] + text[text.index("\n", start) + 1 :]
    if case.old == "TREATMENT":
        start = text.index("[step.treatment]")
        return text[:start] + text[text.index("[[step.before]]", start) :]
    assert case.old in text
    return text.replace(case.old, case.new, 1)


def _problems(text: str) -> list[Problem]:
    with pytest.raises(ProtocolError) as caught:
        read(text, "mine.toml")
    return caught.value.problems


def _line(text: str, piece: str) -> int:
    return text[: text.index(piece)].count("\n") + 1


WHOLE = {
    "SIGN": """got "flashin"; did you mean 'flashing'?""",
    'CONDITION got "clear_days and counts"': "expected exactly one of day, ate, no_sign, "
    "reading, steady, word, period, clear_days, feeding_days, "
    'days_since_death, days_since_dose, level, counts, tasks, got "clear_days and counts"',
    "LIMIT": 'expected an amount in mg/L such as "0.05 mg/L", got "0.05"; ',
    "REGIMEN": 'expected the id of a regimen in the formulary, got "Q99"; known: ',
}


@pytest.mark.parametrize("case", BROKEN, ids=[case.name for case in BROKEN])
def test_a_mistake_in_a_watch_only_template_is_told_with_its_line(case: Case) -> None:
    """One mistake gives one problem: file, line, key, what was expected and what was found."""
    assert read(WATCH, "mine.toml").id == "watch"
    text = _cut(WATCH, case)
    (problem,) = _problems(text)
    assert (problem.file, problem.key) == ("mine.toml", case.key)
    assert problem.line == _line(text, case.at)
    assert WHOLE.get(case.message, case.message) in problem.message
    if case.message not in WHOLE:
        assert problem.message == case.message


@pytest.mark.parametrize("case", DOSE, ids=[case.name for case in DOSE])
def test_a_mistake_in_a_medicated_template_is_told_with_its_line(case: Case) -> None:
    """A dose that does not say all it must, or says what its regimen does not allow, fails its check."""
    text = _cut(_medicated(), case)
    problem = next(one for one in _problems(text) if one.key == case.key)
    assert problem.line == _line(text, case.at)
    assert WHOLE.get(case.message, case.message) in problem.message
    if case.message not in WHOLE:
        assert problem.message == case.message
    others = [one for one in _problems(text) if one != problem]
    assert [one for one in others if not one.key.startswith("reference[")] == []


def test_there_are_at_least_forty_broken_templates() -> None:
    """Issue row F1 asks for forty broken templates with the expected message and line."""
    assert len({case.name for case in BROKEN + DOSE}) == len(BROKEN + DOSE) >= 40
