"""F8: steps that apply only while something is so, and series that end when something is: table of facts to branch.

Unknown never counts as met; what was missed while it applied is still owed; a stopped series says why.
"""

from __future__ import annotations

from datetime import date

import pytest
from history import EVENTS, HEAD, History, small

from quarantine.facts import PlannedTask
from quarantine.plan import plan, reconcile
from quarantine.protocol import ProtocolError, read

STEP = """
[[step]]
id = "extra"
kind = "KIND"
title = "Extra work"
start = { arrival = "1 d" }
repeat = { every = "1 d", until = "observation" }
references = ["choice"]
BRANCH

[[step]]
id = "tests"
kind = "test"
title = "Test"
start = { arrival = "0 d" }
repeat = { every = "1 d", until = "observation" }
reads = ["tan", "ph", "temperature"]
references = ["choice"]
"""
READING = 'when = [{ reading = "tan", min = "0.25 mg/L", within = "24 h", reference = "choice" }]'


def step(branch: str, kind: str = "chore") -> str:
    return STEP.replace("BRANCH", branch).replace("KIND", kind)


def branch(history: History, n: int, clock: str = "12:00") -> PlannedTask:
    """The first open run of the step at a moment."""
    return next(t for t in history.runs("extra", history.at(n, clock)) if t.outcome is None)


# --- what begins a series after its window ------------------------------------------------------------------

BEGUN = """
[[step]]
id = "dose"
kind = "chore"
title = "Bath"
for = "system"
start = START
repeat = { every = "2 d", times = 2, from = "given" }
window = { from = "08:00", until = "20:00" }
after_window = "shift"
references = ["choice"]
"""
STARTS = {
    "sign": '{ sign = "white spots" }',
    "reading": '{ reading = "nitrite", min = "0.5 mg/L" }',
    "word": '{ word = "The vet agreed" }',
}


@pytest.mark.parametrize("kind", list(STARTS))
@pytest.mark.parametrize(("clock", "days"), [("19:59", [3, 5]), ("20:00", [4, 6]), ("21:00", [4, 6])])
def test_a_dose_that_begins_after_its_window_is_due_in_the_next_one(kind: str, clock: str, days: list[int]) -> None:
    """The window closes at 20:00: what was seen, read or said later is no reason for a dose that is late from the
    beginning (rule A11); its reason says so, and the next one counts from there."""
    history = History(small(BEGUN.replace("START", STARTS[kind])))
    if kind == "sign":
        history.look(3, clock, none=False, signs=("white spots",))
    elif kind == "reading":
        history.read(3, clock, nitrite="0.5")
    else:
        history.fact("word", history.at(3, clock), {"word": "The vet agreed"})
    runs = history.runs("dose", history.at(3, "22:00"))
    assert [run.day for run in runs] == [history.day(n) for n in days]
    assert ("its window was over" in runs[0].reason) is (days[0] == 4)


def test_a_sign_of_the_day_before_that_was_entered_late_is_overdue_as_before() -> None:
    """Seen at 10:00 of day 3 and entered on day 4: the window of day 3 was open when it was seen."""
    history = History(small(BEGUN.replace("START", STARTS["sign"])))
    history.look(3, "10:00", none=False, signs=("white spots",), entered=history.at(4, "12:00"))
    assert history.runs("dose", history.at(4, "12:00"))[0].day == history.day(3)


def test_what_was_given_on_the_day_itself_stays_on_it() -> None:
    """A dose given at 21:30 of day 3, right after the sign, is that run; the next one is two days after it."""
    history = History(small(BEGUN.replace("START", STARTS["sign"])))
    history.look(3, "21:00", none=False, signs=("white spots",))
    first = history.runs("dose", history.at(3, "21:10"))[0]
    history.dose(history.at(3, "21:30"), first.key)
    assert [run.day for run in history.runs("dose", history.at(3, "22:00"))][1] == history.day(5)


# --- when: readings ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tan", "read_on", "applies"),
    [
        (None, 0, False),  # never read: unknown
        ("0.2", 3, False),  # under the limit
        ("0.25", 3, True),  # at the limit
        ("1", 3, True),
        ("1", 2, False),  # 25 hours old: unknown again
    ],
)
def test_a_reading_branches_the_plan(tan: str | None, read_on: int, applies: bool) -> None:
    """At noon of day 3, by a reading of 11:00: at or over the limit and not older than a day the step is due."""
    history = History(small(step(READING)))
    if tan is not None:
        history.read(read_on, "11:00", tan=tan)
    task = branch(history, 3, "12:00")
    if applies:
        assert (task.day, task.needs) == (history.day(3), None)
        assert "it applies: Total ammonia" in task.reason
    else:
        assert task.day is None
        assert task.needs is not None
        assert task.needs.startswith("applies when: Total ammonia nitrogen at least 0.25 mg/L, read within 24 h (")


def test_an_unknown_reading_says_what_is_missing() -> None:
    """The waiting row names the reading that nobody took."""
    task = branch(History(small(step(READING))), 3)
    assert task.needs is not None
    assert "no reading of the last 24 h" in task.needs


def test_one_row_waits_and_no_series_is_planned_ahead() -> None:
    """While the step does not apply a single row stands for it, with the key of the run it may become."""
    history = History(small(step(READING)))
    assert len(history.runs("extra", history.at(3))) == 1
    waiting = branch(history, 3, "10:00")
    history.read(3, "11:00", tan="1")
    due = branch(history, 3, "12:00")
    assert due.key == waiting.key


@pytest.mark.parametrize("late", [False, True])
def test_what_was_missed_while_it_applied_is_owed(late: bool) -> None:
    """A feeding that applied on day 3 and was not done stays missed once it no longer applies; other days vanish."""
    history = History(small(step(READING, "feed")))
    history.read(3, "06:00", tan="1")
    history.read(3, "20:00", tan="0")
    runs = history.runs("extra", history.at(6 if late else 4, "12:00"))
    assert [(r.day, r.state) for r in runs] == [(history.day(3), "missed"), (None, "planned")]


@pytest.mark.parametrize(("again", "missed"), [("0", [4]), ("1", [4, 5])])
def test_a_reading_of_the_day_counts_before_that_of_the_day_before(again: str, missed: list[int]) -> None:
    """At midnight of day 5 the reading of day 4 at 20:00 still called for the feeding; what was read at 09:00 decides
    whether it was owed. That of day 4 was, by the reading of that day."""
    history = History(small(step(READING, "feed")))
    history.read(4, "20:00", tan="1")
    history.read(5, "09:00", tan=again)
    runs = history.runs("extra", history.at(6, "12:00"))
    assert [r.day for r in runs if r.state == "missed"] == [history.day(n) for n in missed]


def test_what_comes_to_apply_late_is_due_on_that_day() -> None:
    """A chore of every third day, not needed on days 1 to 4, is due on day 5 when a reading calls for it, once; what it
    called for stays overdue."""
    history = History(small(step(READING).replace('every = "1 d", until', 'every = "3 d", until', 1)))
    history.read(5, "09:00", tan="1")
    due = [t.day for t in history.runs("extra", history.at(5, "12:00")) if t.outcome is None]
    assert due == [history.day(5), history.day(7), history.day(10)]
    history.read(6, "08:00", tan="1")
    assert branch(history, 6).day == history.day(5)


def test_a_turn_that_passed_without_it_falls_away() -> None:
    """A daily chore that begins to apply on day 5 is due once that day, not five times."""
    history = History(small(step(READING)))
    history.read(5, "09:00", tan="1")
    due = [t.day for t in history.runs("extra", history.at(5, "12:00")) if t.outcome is None]
    assert due == [history.day(n) for n in range(5, 11)]


def test_a_shifting_course_waits_whole() -> None:
    """Two runs four days apart that shift: the first is due when it applies, the second four days after."""
    text = step(READING).replace(
        'repeat = { every = "1 d", until = "observation" }',
        'repeat = { every = "4 d", times = 2 }\nafter_window = "shift"',
        1,
    )
    history = History(small(text))
    history.read(6, "09:00", tan="1")
    assert [t.day for t in history.runs("extra", history.at(6, "12:00"))] == [history.day(6), history.day(10)]


def test_a_done_run_stays_when_it_no_longer_applies() -> None:
    """Done is done."""
    history = History(small(step(READING)))
    history.read(1, "08:00", tan="1")
    history.done(branch(history, 1, "09:00"), history.at(1, "10:00"))
    history.read(1, "11:00", tan="0")
    runs = history.runs("extra", history.at(2))
    assert [(r.day, r.state) for r in runs] == [(history.day(1), "done"), (None, "planned")]


# --- when: signs, events, words, groups ----------------------------------------------------------------------


def test_an_open_sign_branches_the_plan() -> None:
    """Nobody looked: it waits; looked and clean: it waits; flashing: it is due; said to be gone: it waits again."""
    history = History(small(step('when = [{ sign = "flashing" }]')))
    assert branch(history, 1).needs == "applies when: The sign flashing is open (nobody has looked yet)"
    history.look(1, "13:00")
    assert branch(history, 1, "14:00").needs == "applies when: The sign flashing is open (flashing is not open)"
    history.look(2, "09:00", signs=("flashing",))
    assert branch(history, 2).day == history.day(2)
    history.look(3, "09:00")
    assert branch(history, 3).day is None


def test_an_event_branches_the_plan() -> None:
    """A step for after an outbreak waits until there was one."""
    history = History(small(step('when = [{ event = "outbreak" }]')))
    assert branch(history, 1).day is None
    history.died(2, fish=3)
    assert branch(history, 2).day == history.day(2)


def test_a_word_branches_the_plan() -> None:
    """A keeper's word is asked for by name; another batch's word is no answer."""
    history = History(small(step('when = [{ word = "The vet agreed" }]')))
    history.fact("word", history.at(1, "08:00"), {"word": "The vet agreed"}, batch="C")
    needs = branch(history, 1).needs
    assert needs == "applies when: The vet agreed (a keeper has to say so: quarantine event word)"
    history.fact("word", history.at(1, "09:00"), {"word": "the vet AGREED"})
    assert branch(history, 1).day == history.day(1)


@pytest.mark.parametrize(
    ("species", "applies"),
    [
        ((), False),  # not known which fish
        (("Melanotaenia praecox",), False),  # nothing on record of it: unknown
        (("Melanotaenia praecox", "Botia almorhae"), True),
    ],
)
def test_a_group_of_animals_branches_the_plan(species: tuple[str, ...], applies: bool) -> None:
    """A step for scaleless fish applies where a fish of the batch is known to be one."""
    history = History(small(step('when = [{ group = "scaleless" }]')))
    course = history.course()._replace(species=species)
    made = plan([course], history.facts, history.at(1, "12:00"), history.water)
    task = next(t for t in made.tasks if t.step == "extra")
    assert (task.day is not None) is applies


def test_all_conditions_must_be_met() -> None:
    """Two conditions: the first that is lacking is the one that is named."""
    history = History(small(step('when = [{ sign = "flashing" }, { word = "The vet agreed" }]')))
    history.look(1, "09:00", signs=("flashing",))
    needs = branch(history, 1).needs
    assert needs is not None
    assert "The vet agreed" in needs


# --- stop ------------------------------------------------------------------------------------------------------


def ends(history: History, n: int) -> list[tuple[date | None, str]]:
    return [(r.day, r.state) for r in history.runs("extra", history.at(n, "12:00"))]


@pytest.mark.parametrize("kind", ["reading", "sign", "no_sign", "event", "word"])
def test_a_met_condition_ends_the_series(kind: str) -> None:
    """Day 1 is done, the condition comes on day 2: what was ahead falls away, for good, and the plan says why."""
    text = {
        "reading": 'reading = "tan", max = "0.1 mg/L", within = "1 h", reference = "choice"',
        "sign": 'sign = "flashing"',
        "no_sign": 'no_sign = "C"',
        "event": 'event = "outbreak"',
        "word": 'word = "Enough"',
    }[kind]
    history = History(small(step(f"stop = [{{ {text} }}]")))
    history.look(0, "11:00", signs=("clamped fins",)) if kind != "sign" else history.look(0, "11:00")
    history.done(branch(history, 1), history.at(1, "12:00"))
    assert len(ends(history, 1)) > 5
    {
        "reading": lambda: history.read(2, "09:00", tan="0.1"),
        "sign": lambda: history.look(2, "09:00", signs=("flashing",)),
        "no_sign": lambda: history.look(2, "09:00"),
        "event": lambda: history.died(2, "09:00", fish=3),
        "word": lambda: history.fact("word", history.at(2, "09:00"), {"word": "enough"}),
    }[kind]()
    assert ends(history, 2) == [(history.day(1), "done")]
    history.read(3, tan="2")
    history.look(3, signs=("clamped fins",))
    assert ends(history, 5) == [(history.day(1), "done")]
    why = history.plan(history.at(5)).stops["B", "extra"]
    assert why.startswith(f"stopped on {history.day(2)} 09:00: ")


def test_what_was_met_before_the_series_began_ends_nothing() -> None:
    """A clean reading on day 0 does not stop work that begins on day 1."""
    history = History(
        small(step('stop = [{ reading = "tan", max = "0.1 mg/L", within = "24 h", reference = "choice" }]'))
    )
    history.read(0, "11:00", tan="0")
    assert len(ends(history, 1)) > 5


def test_what_was_missed_before_the_end_keeps_its_question() -> None:
    """A feeding missed on day 1 stays on the list after the series ended on day 2."""
    history = History(small(step('stop = [{ event = "outbreak" }]', "feed")))
    history.died(2, "09:00", fish=3)
    assert ends(history, 4) == [(history.day(1), "missed")]


def test_a_withdrawn_row_keeps_why() -> None:
    """What is stored of a stopped series is withdrawn with the reason, and nothing else is."""
    row = {"id": "1", "key": "k1", "state": "planned", "batch": "B", "step": "extra"}
    other = {**row, "id": "2", "key": "k2", "step": "look"}
    changes = reconcile([row, other], [], {("B", "extra"): "stopped: an outbreak"})
    assert changes.changed == [
        ("1", {"state": "withdrawn", "reason": "stopped: an outbreak"}),
        ("2", {"state": "withdrawn"}),
    ]


# --- the grammar -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("branch_text", "says"),
    [
        (
            "when = [{ day = 3, reference = 'choice' }]",
            "step[extra].when[1].day: expected in `when` one of reading, steady",
        ),
        ('stop = [{ group = "scaleless" }]', "step[extra].stop[1].group: expected in `stop` one of reading, no_sign"),
        ('before = [{ sign = "flashing" }]', "step[extra].before[1].sign: expected in `before` one of day, ate"),
        ('when = [{ group = "scaleles" }]', "did you mean 'scaleless'?"),
        ('when = [{ group = "soft-water" }]', "expected a group of animals that is known by its genera"),
        ('when = [{ sign = "flashin" }]', "did you mean 'flashing'?"),
        ('when = [{ event = "outbrake" }]', "did you mean 'outbreak'?"),
        (
            'when = [{ reading = "nitrite", max = "1 mg/L", within = "24 h", reference = "choice" }]',
            "a test step that reads nitrite",
        ),
        (
            'when = [{ reading = "tan", max = "1 mg/L", within = "24 h" }]',
            "the key of a [[reference]], because this condition holds a figure",
        ),
        ('stop = [{ reading = "tan", max = "1 mg/L", reference = "choice" }]', "how old the reading may be"),
        ("when = []", "expected a list, each"),
    ],
)
def test_a_slip_in_a_branch_is_named(branch_text: str, says: str) -> None:
    """Each mistake with its key and what was expected."""
    with pytest.raises(ProtocolError) as refusal:
        read(HEAD + step(branch_text) + EVENTS, "t.toml")
    assert says in refusal.value.sentence


def test_a_criterion_does_not_branch() -> None:
    """Sign-off asks for what is so, not for what happened: sign, event and group are refused there."""
    text = HEAD + step("") + EVENTS + '\n[[criterion]]\nevent = "outbreak"\n'
    with pytest.raises(ProtocolError) as refusal:
        read(text, "t.toml")
    assert "event: expected in `criterion` one of day, ate" in refusal.value.sentence
