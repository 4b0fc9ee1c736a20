"""What a calendar file holds of a record: chosen tasks, for chosen eyes, and what a later file says of them."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import vobject
from fishroom import EVENING, MORNING, desk, furnish, start

from quarantine.actions import batches, exporting, noting, places, signing
from quarantine.actions.desk import Desk
from quarantine.actions.exporting import CANCELLED_FOR, Scope
from quarantine.failures import Unknown


@pytest.fixture
def room(sqlite_url: str) -> str:
    """A batch with praziquantel in Q1, another without in Q2 at a second site."""
    furnish(sqlite_url)
    start(sqlite_url)
    places.add_site(desk(sqlite_url), "Attic", "Europe/Lisbon")
    measures: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "filled": "30 cm"}
    places.add_tank(
        desk(sqlite_url), "Q2", site="Attic", role="quarantine", water="fresh", shape="box", measures=measures
    )
    places.add_tank(
        desk(sqlite_url), "Hall", site="Attic", role="display", water="fresh", shape="box", measures=measures
    )
    batches.start_batch(
        desk(sqlite_url, keeper=EVENING),
        tank="Q2",
        protocol="fresh-watch",
        arrived="2026-02-10 11:30",
        fish=["6 Corydoras paleatus"],
        source="a club member (invented)",
        to_tank="Hall",
    )
    return sqlite_url


def entries(at: Desk, folder: Path, scope: Scope | None = None) -> list[Any]:
    """The events of a file, as another library reads them."""
    file = folder / "tasks.ics"
    exporting.write_calendar(at, file, scope or Scope())
    return list(getattr(vobject.readOne(file.read_text(encoding="utf-8")), "vevent_list", []))


def with_settings(at: Desk, **values: str) -> Desk:
    """The same desk with other settings."""
    home = at.home
    return at._replace(home=home._replace(values=home.values | {k: (v, "test") for k, v in values.items()}))


def summaries(found: list[Any]) -> set[str]:
    return {event.summary.value for event in found}


def test_a_tank_a_site_a_batch_can_be_chosen(room: str, tmp_path: Path) -> None:
    """Each choice leaves only its own tasks, and together they leave all."""
    everything = entries(desk(room), tmp_path)
    first = entries(desk(room), tmp_path, Scope(tank="Q1"))
    second = entries(desk(room), tmp_path, Scope(site="Attic"))
    assert {event.summary.value.rpartition(", ")[2].partition(":")[0] for event in first} == {"Q1"}
    assert {event.summary.value.rpartition(", ")[2] for event in second} == {"Q2"}
    assert len(first) + len(second) == len(everything)
    assert len(entries(desk(room), tmp_path, Scope(batch="Q2-1"))) == len(second)
    with pytest.raises(Unknown, match="no site 'Moon'"):
        entries(desk(room), tmp_path, Scope(site="Moon"))


def test_a_private_file_names_no_medicine_and_no_batch(room: str, tmp_path: Path) -> None:
    """No substance, amount, note or batch stands in it; the code leads back to the list."""
    exporting.write_calendar(desk(room), tmp_path / "tasks.ics", Scope(private=True))
    text = (tmp_path / "tasks.ics").read_text(encoding="utf-8").replace("\r\n ", "").casefold()
    exporting.write_calendar(desk(room), tmp_path / "full.ics")
    full = (tmp_path / "full.ics").read_text(encoding="utf-8").replace("\r\n ", "").casefold()
    for word in ("praziquantel", "medicine", "q1-1", " g of ", "mg/l", "carbon"):
        assert word in full or word == "medicine"
        assert word not in text
    assert "treatment\\, see the list\\, q1" in text
    assert text.count("check the list before dosing") == text.count("begin:vevent")


def test_a_private_file_has_a_history_of_its_own(room: str, tmp_path: Path) -> None:
    """Written in turns with the full file, neither raises the other's sequence, and no UID stands in both."""
    plain, private = (
        {e.uid.value for e in entries(desk(room), tmp_path, Scope(private=hidden))} for hidden in (False, True)
    )
    assert len(plain) == len(private)
    assert plain.isdisjoint(private)
    for hidden in (False, True):
        assert {e.sequence.value for e in entries(desk(room), tmp_path, Scope(private=hidden))} == {"0"}


def test_a_keeper_is_sent_only_the_doses_they_may_give(room: str, tmp_path: Path) -> None:
    """Who has not acknowledged the cautions finds no dose of that protocol, and every other task."""
    morning = entries(desk(room), tmp_path, Scope(keeper=MORNING))
    evening = entries(desk(room), tmp_path, Scope(keeper=EVENING))
    assert len([e for e in morning if "Praziquantel" in e.summary.value]) == 2
    assert [e for e in evening if "Praziquantel" in e.summary.value] == []
    assert len(morning) == len(evening) + 2


def test_the_care_of_a_tank_rings_once_a_day_and_a_dose_by_itself(room: str, tmp_path: Path) -> None:
    """On any day one entry of a tank's care has an alarm, which counts the rest; each dose has its own."""
    found = entries(desk(room), tmp_path, Scope(tank="Q1"))
    ringing: dict[date, list[Any]] = {}
    for event in found:
        if "valarm" in event.contents:
            ringing.setdefault(event.dtstart.value, []).append(event)
    doses = [event for event in found if "Praziquantel" in event.summary.value]
    assert all("valarm" in event.contents for event in doses)
    for day, events in ringing.items():
        assert len([e for e in events if e not in doses]) == 1, day
    first = ringing[date(2026, 2, 11)][0]
    together = [e for e in found if e.dtstart.value == date(2026, 2, 11)]
    assert first.valarm.description.value == f"{first.summary.value} and {len(together) - 1} more in Q1"


def test_what_is_done_rings_no_more(room: str, tmp_path: Path) -> None:
    """After the work of a day is done no entry of that day is left, or with --done none has an alarm."""
    noting.look(desk(room, 1), "Q2 6 3", no_signs=True)
    day = date(2026, 2, 11)
    left = [e for e in entries(desk(room, 1), tmp_path, Scope(tank="Q2")) if e.dtstart.value == day]
    assert not {s for s in summaries(left) if s.startswith(("Look", "Feed"))}
    shown = [e for e in entries(desk(room, 1), tmp_path, Scope(tank="Q2", with_done=True)) if e.dtstart.value == day]
    finished = [e for e in shown if e.summary.value.startswith("Done: ")]
    assert len(finished) == len(shown) - len(left) > 0
    assert not [e for e in finished if "valarm" in e.contents]


def test_timed_entries_begin_at_the_hour_of_the_setting(room: str, tmp_path: Path) -> None:
    """With ring_as = "timed" a day's task is a short entry at that local time, in each site's own zone."""
    found = entries(with_settings(desk(room), ring_as="timed", ring_at="08:30"), tmp_path)
    at = {e.dtstart.value.strftime("%H:%M") for e in found if e.summary.value.endswith("Q1")}
    # Berlin is one hour ahead of UTC until 28 March and two after it; Lisbon none and one.
    assert at == {"07:30"}
    assert {e.dtstart.value.strftime("%H:%M") for e in found if e.summary.value.endswith("Q2")} == {"08:30"}
    assert {e.dtend.value - e.dtstart.value for e in found} == {timedelta(minutes=15)}
    assert {e.valarm.trigger.value for e in found if "valarm" in e.contents} == {timedelta(minutes=-1)}


def test_a_withdrawn_task_is_cancelled_for_four_weeks_and_then_left_out(room: str, tmp_path: Path) -> None:
    """Cancelled, one sequence higher and silent; the same bytes until the weeks are over; then it is gone. What the
    tank that was left empty needs is told beside it."""

    def told_of(day: int, hour: int) -> list[Any]:
        return [e for e in entries(desk(room, day, hour), tmp_path, Scope(tank="Q2")) if e.uid.value in known]

    before = entries(desk(room), tmp_path, Scope(tank="Q2"))
    known = {e.uid.value for e in before}
    signing.sign(desk(room, 3, keeper=EVENING), "Q2-1", reject=True)
    after = told_of(3, 1)
    assert {e.uid.value for e in after} == {e.uid.value for e in before if e.status.value == "CONFIRMED"}
    assert {e.status.value for e in after} == {"CANCELLED"}
    assert {e.sequence.value for e in after} == {"1"}
    assert not [e for e in after if "valarm" in e.contents]
    told = (tmp_path / "tasks.ics").read_bytes()
    last = told_of(3 + CANCELLED_FOR.days, 1)
    assert len(last) == len(after)
    assert (tmp_path / "tasks.ics").read_bytes() == told
    assert told_of(3 + CANCELLED_FOR.days, 2) == []


def test_an_amount_waits_for_a_change_that_the_file_leaves_out(room: str, tmp_path: Path) -> None:
    """A dose's title holds no amount while an earlier dose is open, though the days chosen do not show that one."""
    second = next(
        e for e in entries(desk(room), tmp_path, Scope(tank="Q1")) if "Praziquantel bath (2" in e.summary.value
    )
    day: date = second.dtstart.value
    days = (day - datetime(2026, 2, 10).date()).days
    near = entries(desk(room, days - 1), tmp_path, Scope(tank="Q1", since=day, until=day))
    assert [e.summary.value.rpartition(": ")[2] for e in near if "(2 of 2)" in e.summary.value] == ["amount on the day"]
