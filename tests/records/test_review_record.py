"""Random histories through every action that writes: after each step the record is whole and says one thing."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from fishroom import ARRIVED, EVENING, MORNING, READINGS, check, codes_of, desk, dump, furnish, start

from quarantine.actions import (
    amending,
    batches,
    checking,
    examining,
    expecting,
    needing,
    noting,
    places,
    signing,
    weighing,
    work,
)
from quarantine.actions.correcting import correct, undo
from quarantine.actions.planning import followups_of
from quarantine.actions.systems import load_system, plan_system
from quarantine.failures import Failure, Refused
from quarantine.plan import reconcile
from quarantine.records.loading import task_values
from quarantine.records.reads import open_reader
from quarantine.templates import shipped

STEPS = """
[[step]]
id = "foam"
kind = "chore"
title = "Skim the foam"
for = "tank"
start = { word = "There is foam" }
repeat = { as_needed = "6 h", daily = 2, until = "observation" }
references = ["S4"]

[[step]]
id = "moult"
kind = "chore"
title = "Take the shed skin out"
start = { word = "A shed skin lies there" }
repeat = { every = "1 d", times = 3, from = "given" }
references = ["S4"]

[[step]]
id = "spots"
kind = "chore"
title = "Shade the tank"
start = { sign = "white spots", by = "1 d" }
repeat = { every = "1 d", times = 3, from = "given" }
references = ["S4"]

[[step]]
id = "after-spots"
kind = "chore"
title = "Take the shade away"
start = { after = "spots", by = "1 d" }
references = ["S4"]

[[step]]
id = "nitrite"
kind = "chore"
title = "Rinse the sponge"
start = { reading = "nitrite", min = "0.4 mg/L" }
repeat = { every = "2 d", times = 2, from = "given" }
references = ["S4"]

# --- What happens"""


def template(folder: Path, revision: int, window: str = "shift", every: str = "7 d") -> str:
    """The shipped template with steps that hang on words, signs and readings; its path."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    text = text.replace('id = "marine-praziquantel"', 'id = "own"', 1)
    text = text.replace("revision = 1", f"revision = {revision}", 1).replace("# --- What happens", STEPS, 1)
    text = text.replace('after_window = "shift"', f'after_window = "{window}"', 1)
    text = text.replace(
        'repeat = { every = "7 d", until = "observation" }\nfraction',
        f'repeat = {{ every = "{every}", until = "observation" }}\nfraction',
        1,
    )
    path = folder / f"own-{revision}-{window}-{every.replace(' ', '')}.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


class Life:
    """A fish room in which anything may happen, by chance; the clock only goes on."""

    def __init__(self, url: str, folder: Path, seed: int, window: str) -> None:
        self.url, self.folder, self.chance, self.window = url, folder, random.Random(seed), window
        self.hours, self.revision, self.refused = 1, 1, 0
        self.told: list[str] = []
        furnish(url)
        box = {"length": "60 cm", "width": "30 cm", "height": "36 cm", "filled": "30 cm"}
        places.add_tank(desk(url), "Q2", site="Cellar", role="quarantine", water="marine", shape="box", measures=box)
        batches.start_batch(
            desk(url),
            tank="Q1",
            protocol=template(folder, 1, window),
            arrived="2026-02-10 13:30",
            fish=["90 Pygoplites diacanthus"],
            source="importer",
            to_tank="Reef",
            acknowledge=True,
            yes=True,
        )

    def desk(self) -> Any:
        return desk(self.url, 0, self.hours, keeper=self.chance.choice([MORNING, MORNING, EVENING]))

    def at(self) -> str | None:
        """Mostly now; at times some hours or days ago."""
        if self.chance.random() < 0.7:
            return None
        return f"-{self.chance.choice([2, 9, 26, 50, 75])}h"

    def code(self, *kinds: str) -> str:
        codes = [code for kind in kinds for code in codes_of(self.url, kind)[:4]]
        return self.chance.choice(codes) if codes else "ZZZZ"

    def seal(self) -> str:
        return str(self.chance.choice(dump(self.url)["journal"][-12:])["id"])

    def step(self) -> str:
        """One action; its name, whether it was refused or not."""
        self.hours += self.chance.choice([0, 1, 3, 6, 12, 20, 30])
        name = self.chance.choice(list(ACTIONS))
        try:
            ACTIONS[name](self)
        except Failure as refused:
            self.refused += 1
            name += f" refused: {refused.sentence}"
        self.told.append(f"{self.hours} h {name}"[:200])
        return name


def _care(life: Life) -> None:
    work.done(life.desk(), [life.code("feed", "chore")], at=life.at())


def _dose(life: Life) -> None:
    how: dict[str, Any] = {"gave": "0.1 g", "really": True} if life.chance.random() < 0.7 else {"as_shown": True}
    work.done(life.desk(), [life.code("dose")], at=life.at(), **how)


def _look(life: Life) -> None:
    sign = life.chance.choice([None, None, None, "white spots", "colour", "gasping"])
    noting.look(
        life.desk(),
        f"Q1 {life.chance.choice(['90', '88', '?'])} {life.chance.choice(['3', '2', '1', '-'])}",
        signs=[sign] if sign else None,
        gone=life.chance.choice([None, None, ["white spots"]]),
        no_signs=sign is None,
        dead=int(life.chance.random() < 0.1),
        at=life.at(),
        really=True,
    )


def _read(life: Life) -> None:
    nitrite = life.chance.choice(["0.05", "0.5"])
    words = [f"nitrite_no2={nitrite}mg/L" if w.startswith("nitrite") else w for w in READINGS]
    noting.reading(life.desk(), "Q1", words if life.chance.random() < 0.6 else words[:1], at=life.at())


def _event(kind: str, of_batch: bool = False, **data: Any) -> Callable[[Life], None]:
    def act(life: Life) -> None:
        noting.event(life.desk(), kind, "Q1", dict(data), at=life.at(), of_batch=of_batch, really=True)

    return act


def _correct(life: Life) -> None:
    words = life.chance.choice(
        [
            ["seen=88"],
            ["signs=none"],
            ["signs=colour"],
            ["nitrite_no2=0.1mg/L"],
            ["gave=0.09 g"],
            ["dead=2"],
            ["out=3 L"],
            [],
        ]
    )
    at = life.at() if words else f"-{life.chance.choice([1, 5, 30])}h"
    correct(life.desk(), life.seal(), words, because="a slip", at=at, yes=True)


def _amend(life: Life) -> None:
    life.revision += 1
    path = template(life.folder, life.revision, life.window, life.chance.choice(["5 d", "6 d", "7 d"]))
    amending.amend(life.desk(), "Q1-1", because="the club decided", protocol=path, acknowledge=True, yes=True)


def _expect(life: Life) -> None:
    day = (ARRIVED + timedelta(hours=life.hours)).date() + timedelta(days=life.chance.randrange(6))
    expecting.expect(
        life.desk(),
        life.chance.choice(["New", "Newer"]),
        first=day.isoformat(),
        last=(day + timedelta(days=2)).isoformat(),
        tank="Q2",
        protocol="marine-watch",
        fish=["3 Pygoplites diacanthus"],
        source="importer",
        to_tank="Reef",
        yes=True,
    )


def _arrive(life: Life) -> None:
    expecting.arrived(life.desk(), life.chance.choice(["New", "Newer"]), open_items="no time", yes=True)


ACTIONS: dict[str, Callable[[Life], None]] = {
    "look": _look,
    "look again": _look,
    "look once more": _look,
    "reading": _read,
    "reading again": _read,
    "done": _care,
    "done again": _care,
    "dose": _dose,
    "dose again": _dose,
    "water change of the plan": lambda x: work.done(x.desk(), [x.code("change")], gave="20 L", at=x.at()),
    "skip": lambda x: work.skip(x.desk(), [x.code("look", "feed", "test", "dose", "chore")], because="away", yes=True),
    "undo": lambda x: undo(x.desk(), "a slip", yes=True),
    "undo again": lambda x: undo(x.desk(), "a slip", yes=True),
    "correct": _correct,
    "correct again": _correct,
    "foam": lambda x: needing.say_word(x.desk(), "Q1", "foam", at=x.at(), yes=True),
    "moult": lambda x: needing.say_word(x.desk(), "Q1", "moult", at=x.at(), yes=True),
    "amend": _amend,
    "stop": lambda x: amending.stop_course(x.desk(), "Q1-1", "dose", because="the vet said so", yes=True),
    "change": _event("change", out_litres=Decimal(5), in_litres=Decimal(5)),
    "topup": _event("topup", litres=Decimal(1)),
    "evaporation": _event("evaporation", litres=Decimal(1)),
    "removal": _event("removal", by="carbon"),
    "disturbance": _event("disturbance", what="a lamp fell in"),
    "died": _event("died", of_batch=True, count=1),
    "euthanised": _event("died", of_batch=True, count=1, euthanised=True, explained=True),
    "missing": _event("missing", of_batch=True, count=1, because="not found"),
    "added": _event("added", of_batch=True, count=1),
    "lift": _event("lift", because="tested"),
    "event dose": lambda x: noting.dose_event(x.desk(), "Q1", "Z01", "0.05 g", at=x.at(), really=True),
    "exam": lambda x: examining.exam(x.desk(), "Q1-1", what="scrape", negative=True, at=x.at()),
    "weigh": lambda x: weighing.weigh(x.desk(), "Q1-1", "40 g", by="a scale", at=x.at()),
    "measure": lambda x: places.measure_tank(x.desk(), "Q1", "52 L", by="buckets", plus_minus="1 L", at=x.at()),
    "level": lambda x: places.level_tank(x.desk(), "Q1", "2 cm below", at=None),
    "gauge": lambda x: places.gauge_tank(x.desk(), "Q1", meter="100 L to 152 L"),
    "extend": lambda x: signing.sign(x.desk(), "Q1-1", extend="2 d"),
    "expect": _expect,
    "expect again": _expect,
    "arrived": _arrive,
    "call off": lambda x: expecting.call_off(x.desk(), x.chance.choice(["New", "Newer"]), "sold out"),
}


def whole(life: Life) -> None:
    """The journal, the seals, the counts, and the state that the entries give."""
    with open_reader(life.url) as reader:
        checking.check(reader, ARRIVED + timedelta(hours=life.hours))


def consistent(life: Life, name: str, before: dict[str, Any], after: dict[str, Any]) -> None:
    """What holds after every action, whatever it was."""
    was = {t["id"]: t for t in before["task"]}
    now = {t["id"]: t for t in after["task"]}
    mends = name.startswith(("undo", "correct"))
    assert was.keys() <= now.keys()
    for id_, row in was.items():
        assert (row["key"], row["code"]) == (now[id_]["key"], now[id_]["code"])
        if row["state"] in ("done", "skipped") and not mends:
            assert now[id_] == row
    voided = {f["voids"] for f in after["fact"] if f["voids"]}
    stands = {f["id"]: f for f in after["fact"] if f["id"] not in voided and f["kind"] != "void"}
    open_ = {b["id"]: b for b in after["batch"] if b["state"] in ("open", "expected")}
    # An outcome is a fact that stands, and a fact with a key is the outcome of its task.
    for row in now.values():
        if row["state"] in ("done", "skipped") and row["batch"] in open_:
            fact = json.loads(row["outcome"])["fact"]
            assert fact in stands or fact in {json.loads(f["data"]).get("first", {}).get("id") for f in stands.values()}
    by_key = {t["key"]: t for t in now.values()}
    for fact in stands.values():
        key = json.loads(fact["data"]).get("key")
        if key and fact["kind"] in ("done", "dose", "skip"):
            assert by_key[key]["state"] in ("done", "skipped"), (key, fact["kind"])
    fresh = {f["id"] for f in after["fact"]} - {f["id"] for f in before["fact"]}
    mine = next(b for b in after["batch"] if b["name"] == "Q1-1")["system"]
    if name != "weigh" and any(f["system"] == mine for f in after["fact"] if f["id"] in fresh):
        _planned(life, after, by_key)
    _courses(life, list(now.values()))


def _courses(life: Life, tasks: list[dict[str, Any]]) -> None:
    """A course is never longer than its template says, and no dose is planned beside one that was given."""
    for step, most in (("dose", 2), ("moult", 3), ("spots", 3), ("nitrite", 2)):
        mine = [t for t in tasks if t["step"] == step]
        given = [t for t in mine if t["state"] == "done"]
        ahead = sorted((t for t in mine if t["state"] == "planned"), key=lambda t: str(t["day"]))
        told = [(t["key"][-40:], t["state"], t["day"], t["outcome_at"]) for t in mine]
        if ahead and given and (step != "dose" or life.window == "shift"):
            assert len(given) + len(ahead) <= most, told
        if step == "dose":
            days = [date.fromisoformat(t["day"]) for t in ahead if t["day"]]
            assert all((b - a).days >= 4 for a, b in pairwise(days)), told
            for done in given:
                # A dose that was given in the place of the one before it leaves that one open: its card holds it.
                earliest = date.fromisoformat(done["outcome_at"][:10]) + timedelta(days=4)
                assert all(day >= earliest for day in days if day > date.fromisoformat(done["day"])), told


APART = ("arrival.", "followup.", "bath.")
"""Steps that no template has: each is planned from facts of its own."""


def _planned(life: Life, after: dict[str, Any], by_key: dict[str, Any]) -> None:
    """The plan made once more changes nothing, settles what is settled, and asks for no order of its facts."""
    moment = ARRIVED + timedelta(hours=life.hours)
    batch = next(b for b in after["batch"] if b["name"] == "Q1-1")
    with open_reader(life.url) as reader:
        state = load_system(reader, batch["system"], moment)
        made = plan_system(state, moment)
        asked = followups_of(reader, state, made, moment)
    rows = [task_values(t) for t in after["task"] if t["batch"] == batch["id"] and not t["step"].startswith(APART)]
    for stored, tasks, stops in ((rows, made.tasks, made.stops), (asked.rows, asked.tasks, asked.stops)):
        again = reconcile(stored, tasks, stops)
        assert (again.new, again.changed) == ([], []), again
    for task in made.tasks:
        settled = by_key[task.key]["state"] in ("done", "skipped")
        assert settled == (task.outcome is not None), (task.key, by_key[task.key]["state"], task.outcome)
    shuffled = list(state.facts)
    life.chance.shuffle(shuffled)
    assert plan_system(state._replace(facts=tuple(shuffled)), moment) == made


def live(url: str, folder: Path, seed: int, window: str, steps: int) -> Life:
    life = Life(url, folder, seed, window)
    after = dump(url)
    for _ in range(steps):
        before = after
        name = life.step()
        after = dump(url)
        try:
            if " refused: " in name:
                assert after == before
                continue
            whole(life)
            consistent(life, name, before, after)
        except (AssertionError, Refused) as failure:
            raise AssertionError(f"seed {seed} {window}: {failure}\n" + "\n".join(life.told[-25:])) from failure
    return life


@pytest.mark.parametrize("window", ["shift", "reopen"])
@pytest.mark.parametrize("seed", range(2))
def test_whatever_happens_the_record_is_whole_and_says_one_thing(
    sqlite_url: str, tmp_path: Path, seed: int, window: str
) -> None:
    """After each of many random actions: check is whole, done stays done, no outcome is voided, no course too long."""
    life = live(sqlite_url, tmp_path, seed, window, 45)
    assert life.refused < len(life.told) / 2


# --- What the random histories found, each on its own ---------------------------------------------------------


@pytest.fixture
def room(sqlite_url: str) -> str:
    """Four days of a batch that is looked at and tested."""
    furnish(sqlite_url)
    start(sqlite_url)
    for day in range(4):
        noting.look(desk(sqlite_url, day, 1), "Q1 4 3", no_signs=True)
        noting.reading(desk(sqlite_url, day, 1), "Q1", READINGS)
    return sqlite_url


def last(url: str) -> str:
    return str(dump(url)["head"][0]["entry"])


def tasks(url: str, step: str, day: str) -> list[str]:
    return [t["state"] for t in dump(url)["task"] if (t["step"], t["day"]) == (step, day)]


def test_a_test_is_open_again_when_one_of_its_readings_is_moved_to_another_day(room: str) -> None:
    """Two entries settled it together; the first of them was of the day before."""
    noting.reading(desk(room, 4, 1), "Q1", ["tan=0.1mg/L", "nitrite_no2=0.05mg/L", "ph=8.1"])
    first = last(room)
    noting.reading(desk(room, 4, 2), "Q1", ["temp=25C"])
    assert tasks(room, "tests", "2026-02-14") == ["done"]
    correct(desk(room, 4, 3), first, [], because="that was yesterday", at="2026-02-13 20:00", yes=True)
    assert tasks(room, "tests", "2026-02-14") == ["planned"]
    assert check(room)["faults"] == []


def test_a_time_before_the_fish_arrived_is_refused_in_a_correction_too(room: str) -> None:
    """It would count for nothing, and nobody would see it."""
    before = dump(room)
    noting.look(desk(room, 4, 1), "Q1 4 3", no_signs=True)
    with pytest.raises(Refused, match=r"The fish arrived 2026-02-10 13:30; at 2026-01-14 20:00 they were not there"):
        correct(desk(room, 4, 2), last(room), [], because="the month was wrong", at="2026-01-14 20:00", yes=True)
    assert len(dump(room)["journal"]) == len(before["journal"]) + 1


def test_a_dose_of_before_the_fish_came_is_recorded(room: str) -> None:
    """A fact is never refused (C7): nothing is known of fish then, and the water had it."""
    made = noting.dose_event(desk(room, 4, 1), "Q1", "Z01", "0.05 g", at="2026-02-09 20:00", really=True)
    assert "2026-02-09 20:00: 0.05 g" in made.lines[0]
    assert check(room)["faults"] == []


def test_a_sign_that_began_a_course_is_taken_back_and_nothing_is_offered_twice(sqlite_url: str, tmp_path: Path) -> None:
    """One keeper's look began it, the other one's saw the sign too; what was done on the first stays the first."""
    life = Life(sqlite_url, tmp_path, 0, "shift")
    noting.look(desk(sqlite_url, 1, 1), "Q1 90 3", signs=["white spots"])
    code = next(
        t["code"] for t in dump(sqlite_url)["task"] if t["step"] == "spots" and t["key"].endswith(":1") and t["day"]
    )
    work.done(desk(sqlite_url, 2, 1, keeper=EVENING), [code])
    noting.look(desk(sqlite_url, 2, 2, keeper=EVENING), "Q1 90 3", signs=["white spots"])
    undo(desk(sqlite_url, 2, 3), "it was sand", yes=True)
    found = [(t["key"][-1], t["state"]) for t in dump(sqlite_url)["task"] if t["step"] == "spots" and t["day"]]
    assert sorted(found) == [("1", "done"), ("2", "planned"), ("3", "planned")]
    whole(life)


def test_a_missed_dose_entered_late_and_taken_back_has_lapsed_once(sqlite_url: str, tmp_path: Path) -> None:
    """What began anew upon the lapse keeps its keys."""
    life = Life(sqlite_url, tmp_path, 0, "reopen")
    noting.look(desk(sqlite_url, 4, 1), "Q1 90 3", no_signs=True)
    keys = {t["key"] for t in dump(sqlite_url)["task"] if t["step"] == "dose" and t["state"] == "planned"}
    missed = next(t["code"] for t in dump(sqlite_url)["task"] if t["step"] == "dose" and t["state"] == "missed")
    work.done(desk(sqlite_url, 4, 2), [missed], gave="0.1 g", at="2026-02-13 10:00", really=True)
    undo(desk(sqlite_url, 4, 3), "the other tank", yes=True)
    assert {t["key"] for t in dump(sqlite_url)["task"] if t["step"] == "dose" and t["state"] == "planned"} == keys
    assert len([f for f in dump(sqlite_url)["fact"] if f["kind"] == "lapse"]) == 1
    life.hours = 100
    whole(life)


def test_a_sign_off_stays_as_it_was_sealed_and_check_says_what_was_changed_since(room: str) -> None:
    """A look of before is corrected, another taken back, a reading entered late: no fault, each in a sentence."""
    noting.look(desk(room, 4, 1), "Q1 3 2", no_signs=True)
    seal = last(room)
    noting.look(desk(room, 4, 2, keeper=EVENING), "Q1 4 2", no_signs=True)
    made = signing.sign(desk(room, 4, 3), "Q1-1", release=True, deviation="on a veterinary instruction")
    assert check(room)["after_signoff"] == []
    correct(desk(room, 4, 4), seal, ["seen=4"], because="one hid", yes=True)
    undo(desk(room, 4, 5, keeper=EVENING), "the other tank", yes=True)
    noting.reading(desk(room, 4, 6), "Q1", ["temp=25C"], at="2026-02-14 12:00")
    noting.reading(desk(room, 4, 7), "Q1", ["temp=25C"])
    after = check(room)["after_signoff"]
    told = "Batch Q1-1 was closed (release with deviation); after that was"
    assert after == [
        f"{told} corrected: look of 2026-02-14 13:30 UTC (one hid). The sign-off stays as it was sealed.",
        f"{told} taken back: look of 2026-02-14 14:30 UTC (the other tank). The sign-off stays as it was sealed.",
        f"{told} entered: reading of 2026-02-14 11:00 UTC. The sign-off stays as it was sealed.",
    ]
    assert dump(room)["signoff"][0]["seal"] == made["seal"]
