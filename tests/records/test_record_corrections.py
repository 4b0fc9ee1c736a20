"""Taking back and correcting: both values stay, the plan follows, and the record is whole afterwards."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from fishroom import EVENING, READINGS, check, code_of, codes_of, desk, dump, furnish, start

from quarantine.actions import noting, signing, work
from quarantine.actions.correcting import CORRECTIONS, correct, undo
from quarantine.actions.exchanging import exchange
from quarantine.failures import Refused, Unknown, Usage
from quarantine.records.reads import open_reader
from quarantine.records.store import open_store


@pytest.fixture
def room(url: str) -> str:
    """A batch that has been looked at and tested for four days: its first dose may be given."""
    furnish(url)
    start(url)
    for day in range(4):
        noting.look(desk(url, day, 1), "Q1 4 3", no_signs=True)
        noting.reading(desk(url, day, 1), "Q1", READINGS)
    return url


def last(url: str) -> str:
    """The seal of the last entry."""
    return str(dump(url)["head"][0]["entry"])


def standing_facts(url: str, kind: str) -> list[dict[str, Any]]:
    """The data of the facts of a kind that are read, in the order in which they were entered."""
    with open_reader(url) as reader:
        system = reader.rows("batches")[0]["system"]
        rows = reader.rows("facts_since", system=system, since="2026")
    return [json.loads(r["data"]) for r in sorted(rows, key=lambda r: r["entered_at"]) if r["kind"] == kind]


def task(url: str, code: str) -> dict[str, Any]:
    return next(row for row in dump(url)["task"] if row["code"] == code)


def test_a_look_that_was_a_slip_is_taken_back(room: str) -> None:
    """The look of the day is open again, the fish it found dead live, and the journal holds both entries."""
    before = dump(room)
    noting.look(desk(room, 4, 1), "Q1 3 2 dead=1", signs=["white spots"])
    assert len(standing_facts(room, "died")) == 1
    made = undo(desk(room, 4, 2), "that was the other tank", yes=True)
    assert made["says"] == "Q1: 3 seen"
    assert standing_facts(room, "died") == []
    after = dump(room)
    states = {t["key"]: t["state"] for t in before["task"]}
    # What the sign had made the stay longer by is withdrawn; all else is as it was.
    assert {t["key"]: t["state"] for t in after["task"] if t["key"] in states} == states
    assert {t["state"] for t in after["task"] if t["key"] not in states} == {"withdrawn"}
    assert after["batch"][0]["standing"] == before["batch"][0]["standing"]
    assert len(after["fact"]) == len(before["fact"]) + 4
    assert len(after["journal"]) == len(before["journal"]) + 2
    assert check(room)["faults"] == []


def test_dates_that_move_are_shown_first(room: str) -> None:
    """Taking back a sign moves the earliest sign-off: the days stand in the refusal until they are accepted."""
    noting.look(desk(room, 4, 1), "Q1 4 2", signs=["gasping"])
    before = dump(room)
    with pytest.raises(Refused, match=r"Q1-1: earliest sign-off .* -> .*\. Say --yes to accept that"):
        undo(desk(room, 4, 2), "it was a bubble")
    assert dump(room) == before


def test_a_task_can_be_done_again_after_its_outcome_was_taken_back(room: str) -> None:
    """Done, taken back, done by another keeper: one outcome stands, and a second one is refused as ever."""
    code = code_of(room, "feed")
    work.done(desk(room, 4, 2), [code])
    undo(desk(room, 4, 3), "wrong code")
    assert task(room, code)["state"] in ("planned", "missed")
    work.done(desk(room, 4, 4, keeper=EVENING), [code])
    assert task(room, code)["state"] == "done"
    assert [f["attempt"] for f in dump(room)["fact"] if f["task"] == task(room, code)["id"]] in ([None, 1], [1, None])
    with pytest.raises(Refused, match=f"was done by {EVENING}"):
        work.done(desk(room, 4, 5), [code])
    assert check(room)["faults"] == []


def test_only_ones_own_last_entry_is_taken_back(room: str) -> None:
    """Another keeper's later entry is left alone; a second time takes back the one before."""
    noting.reading(desk(room, 4, 1), "Q1", ["temp=25C"])
    noting.reading(desk(room, 4, 2), "Q1", ["temp=26C"])
    noting.reading(desk(room, 4, 3, keeper=EVENING), "Q1", ["temp=27C"])
    undo(desk(room, 4, 4), "misread")
    assert [r["value"] for r in standing_facts(room, "reading") if r["parameter"] == "temperature"][-2:] == ["25", "27"]
    undo(desk(room, 4, 5), "misread too")
    assert [r["value"] for r in standing_facts(room, "reading") if r["parameter"] == "temperature"][-1:] == ["27"]
    assert [r["value"] for r in standing_facts(room, "reading") if r["parameter"] == "temperature"][-2] == "25.5"


def test_what_was_no_happening_is_not_taken_back(url: str) -> None:
    """A tank, an arrival and a sign-off stay; each refusal says what to do instead. So does a new keeper's nothing."""
    furnish(url)
    with pytest.raises(Refused, match=r"Your last entry \(tank added: .*\) is not of something that happened"):
        undo(desk(url), "wrong tank")
    with pytest.raises(Refused, match="You have no entry that can be taken back"):
        undo(desk(url, keeper=EVENING), "wrong tank")
    start(url)
    with pytest.raises(Refused, match=r"stays as it is: a batch that has arrived is closed by its sign-off"):
        undo(desk(url), "wrong tank")
    signing.sign(desk(url, 1), "Q1-1", extend="7 d")
    with pytest.raises(Refused, match="stays as it is: an extension is sealed"):
        undo(desk(url, 1), "too long")
    with pytest.raises(Usage, match="needs its reason"):
        undo(desk(url, 1), "  ")


def test_a_dose_is_taken_back_only_if_nothing_was_given(room: str) -> None:
    """The question is asked once; then the dose is offered again and nothing is in the water."""
    code = code_of(room, "dose")
    work.done(desk(room, 3, 2), [code], as_shown=True)
    with pytest.raises(Refused, match="Only if it was not given at all") as refused:
        undo(desk(room, 3, 3), "poured nothing")
    assert f"quarantine correct {last(room)[:8]} gave=AMOUNT" in refused.value.sentence
    undo(desk(room, 3, 3), "poured nothing", yes=True)
    assert standing_facts(room, "dose") == []
    assert task(room, code)["state"] == "planned"
    work.done(desk(room, 3, 4), [code], as_shown=True)
    assert len(standing_facts(room, "dose")) == 1
    assert check(room)["faults"] == []


def test_a_corrected_dose_keeps_what_was_planned_and_prepared(room: str) -> None:
    """Target and prepared amount stay, the given one and its bounds follow, and the task names the correction."""
    code = code_of(room, "dose")
    work.done(desk(room, 3, 2), [code], as_shown=True)
    seal, was = last(room), standing_facts(room, "dose")[0]
    twice = Decimal(was["given"]) * 2
    made = correct(desk(room, 3, 3), seal[:8], [f"gave={twice} g"], because="two spoons", yes=True, really=True)
    now = standing_facts(room, "dose")[0]
    assert (now["target"], now["prepared"], now["volume_litres"]) == (
        was["target"],
        was["prepared"],
        was["volume_litres"],
    )
    assert Decimal(now["given"]) == twice
    assert Decimal(now["mass_mg"]) == 2 * Decimal(was["mass_mg"])
    assert Decimal(now["gives_high_mg_per_l"]) == pytest.approx(
        2 * Decimal(was["gives_high_mg_per_l"]), rel=Decimal("1e-3")
    )
    assert now["corrected"] == "two spoons"
    assert made["now"] == [f"gave {was['given']} g -> {twice} g"]
    with open_reader(room) as reader:
        known = work.why(reader, desk(room).home, code, desk(room, 3, 4).now)
    assert known.given == now
    assert task(room, code)["state"] == "done"
    assert check(room)["faults"] == []


def test_a_dose_corrected_over_its_ceiling_is_answered_with_the_rescue(room: str) -> None:
    """A fact is never refused (C7): it is recorded, and what to do is said."""
    work.done(desk(room, 3, 2), [code_of(room, "dose")], as_shown=True)
    slip = ["gave=2 g"]
    with pytest.raises(Refused, match=r"2 g is 20 times the 0\.1 g that was shown"):
        correct(desk(room, 3, 3), last(room), slip, because="the scale stood on ounces", yes=True)
    made = correct(desk(room, 3, 3), last(room), slip, because="the scale stood on ounces", yes=True, really=True)
    assert "strong aeration; change" in made["now"][0]
    assert "10 mg/L" in made["now"][0]


def test_a_corrected_look_moves_no_key(room: str) -> None:
    """The count changes, every code stays, and the correction can itself be corrected."""
    noting.look(desk(room, 4, 1), "Q1 3 2", no_signs=True)
    before = {row["key"]: row["code"] for row in dump(room)["task"]}
    correct(desk(room, 4, 2), last(room), ["seen=4", "appetite=3"], because="one hid")
    correct(desk(room, 4, 3), last(room), ["appetite=1"], because="only one ate")
    look = standing_facts(room, "look")[-1]
    assert (look["seen"], look["appetite"]) == (4, 1)
    assert {row["key"]: row["code"] for row in dump(room)["task"]} == before
    settled = [row for row in dump(room)["task"] if row["kind"] == "look" and row["day"] == "2026-02-14"]
    fact = json.loads(settled[0]["outcome"])["fact"]
    assert json.loads(next(f for f in dump(room)["fact"] if f["id"] == fact)["data"]) == look
    assert check(room)["faults"] == []


def test_a_time_is_corrected(room: str) -> None:
    """A look of the evening entered as now is dated when it was; the day it settled is open again."""
    noting.look(desk(room, 5, 1), "Q1 4 2", no_signs=True)
    correct(desk(room, 5, 2), last(room), [], because="that was yesterday", at="2026-02-14 20:00", yes=True)
    states = {row["day"]: row["state"] for row in dump(room)["task"] if row["kind"] == "look"}
    assert states["2026-02-14"] == "done"
    assert states["2026-02-15"] == "planned"


def test_a_reading_is_corrected_by_its_name(room: str) -> None:
    """The right one of several in one entry is corrected; the others stay."""
    noting.reading(desk(room, 4, 1), "Q1", READINGS)
    correct(desk(room, 4, 2), last(room), ["tan=0.25mg/L"], because="colour read in daylight")
    found = {r["parameter"]: r["value"] for r in standing_facts(room, "reading")[-6:]}
    assert found["tan"] == "0.25"
    assert found["ph"] == "8.1"


def test_every_correction_that_is_offered_works(room: str) -> None:
    """Each name of each kind of fact is taken, and leaves the record whole."""
    values = {"seen": "?", "appetite": "-", "signs": "none", "note": "ok", "dead": "2", "out": "3 L", "in": "4 L"}
    values |= {"litres": "2 L", "gave": "0.09 g", "because": "away", "rate": "2 L/h", "until": "running"}
    entries = {
        "look": lambda: noting.look(desk(room, 4, 1), "Q1 4 2", signs=["gasping"], note="?"),
        "died": lambda: noting.event(desk(room, 4, 1), "died", "Q1", {"count": 1}, of_batch=True),
        "change": lambda: noting.event(
            desk(room, 4, 1), "change", "Q1", {"out_litres": Decimal(2), "in_litres": Decimal(2)}
        ),
        "topup": lambda: noting.event(desk(room, 4, 1), "topup", "Q1", {"litres": Decimal(1)}),
        "evaporation": lambda: noting.event(desk(room, 4, 1), "evaporation", "Q1", {"litres": Decimal(1)}),
        "exchange": lambda: exchange(desk(room, 4, 1), "Q1", "1 L/h"),
        "dose": lambda: noting.dose_event(desk(room, 4, 1), "Q1", "Z01", "0.1 g", really=True),
        "done": lambda: work.done(desk(room, 4, 1), [code_of(room, "feed")]),
        "skip": lambda: work.skip(desk(room, 4, 1), [codes_of(room, "feed")[0]], because="forgot"),
    }
    assert set(entries) == set(CORRECTIONS)
    for kind, enter in entries.items():
        enter()
        for name in CORRECTIONS[kind]:
            if name == "eaten":  # of a dose in food alone; this one is a bath
                with pytest.raises(Usage, match="of a dose in food"):
                    correct(desk(room, 4, 2), last(room), ["eaten=all"], because="a slip", yes=True)
                continue
            correct(desk(room, 4, 2), last(room), [f"{name}={values[name]}"], because="a slip", yes=True)
        assert check(room)["faults"] == [], kind


@pytest.mark.parametrize(
    ("seal", "words", "failure", "says"),
    [
        ("zzzzzzzz", ["seen=1"], Usage, "is no entry"),
        ("abc", ["seen=1"], Usage, "is no entry"),
        ("0123456789abcdef", ["seen=1"], Unknown, "There is no entry"),
        ("", [], Usage, "What was wrong"),
        ("last", ["seen"], Usage, "write NAME=VALUE"),
        ("last", ["colour=red"], Usage, r"has no 'colour'; it can be corrected in: temperature, .*--at"),
        ("last", ["temp=hot"], Refused, "hot"),
        ("last", ["ph=80"], Refused, "hard to believe"),
    ],
)
def test_a_bad_correction_is_one_sentence_and_changes_nothing(
    sqlite_url: str, seal: str, words: list[str], failure: type[Exception], says: str
) -> None:
    """What was wrong, and what can be written."""
    furnish(sqlite_url)
    start(sqlite_url)
    noting.reading(desk(sqlite_url, 1), "Q1", READINGS)
    before = dump(sqlite_url)
    with pytest.raises(failure, match=says):
        correct(desk(sqlite_url, 1, 1), last(sqlite_url) if seal == "last" else seal, words, because="a slip")
    assert dump(sqlite_url) == before


def test_what_is_gone_is_not_corrected_again(room: str) -> None:
    """An entry that was taken back, or corrected whole, has nothing left to correct."""
    noting.reading(desk(room, 4, 1), "Q1", ["temp=25C"])
    seal = last(room)
    correct(desk(room, 4, 2), seal, ["temp=24C"], because="misread")
    with pytest.raises(Refused, match=r"Nothing of entry .* stands any more"):
        correct(desk(room, 4, 3), seal, ["temp=23C"], because="misread")


def test_a_fact_is_voided_once_in_the_database_too(room: str) -> None:
    """Two keepers who correct one entry at once: the second is refused by a unique index."""
    noting.reading(desk(room, 4, 1), "Q1", ["temp=25C"])
    undo(desk(room, 4, 2), "misread")
    void = next(row for row in dump(room)["fact"] if row["kind"] == "void")
    store = open_store(room)
    with pytest.raises(Refused, match=r"(?i)unique"), store.act(None, desk(room, 5).now) as act:
        act.add("fact", {**void, "id": "another"})
    store.close()
