"""Rule C10: a bath with the filter off, by the commands: for the tank alone, with both litres on record, put back."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from bath_room import template
from freezegun import freeze_time
from round_room import Room

from quarantine.cli import app

POUR = "2026-02-13 08:00:00"
"""09:00 in Berlin on day 3, when the first dose may be given."""
WATER = "temp=25C ph=7.8 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=7mg/L salinity=0.1g/L"
BOX = ("--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm")
PARTS = ("--sump", "10 L ± 0.5 L", "--filter", "2 L ± 0.1 L")


def build(home: Path, protocol: str, parts: tuple[str, ...]) -> None:
    """One fresh tank, measured with its sump and filter to 62 L, plus or minus 0.4 L, with a batch in its day 3."""

    def at(moment: str, *words: str) -> None:
        with freeze_time(moment):
            assert app.run(["--home", str(home), "--as", "Robin", *words]) == 0

    start = "2026-02-10 09:00:00"
    with freeze_time(start):
        assert app.run(["--home", str(home), "keeper", "add", "Robin"]) == 0
    at(start, "site", "add", "Hall", "--zone", "Europe/Berlin")
    for name, role, more in (("Q1", "quarantine", parts), ("Show", "display", ())):
        at(start, "tank", "add", name, "--site", "Hall", "--role", role, "--water", "fresh", *BOX, *more)
    at(start, "tank", "measure", "Q1", "62 L", "--by", "buckets", "--plus-minus", "0.4 L")
    at(
        start, "batch", "start", "--tank", "Q1", "--protocol", protocol, "--arrived", "2026-02-10 09:30", "--fish",
        "12 Melanotaenia praecox", "--from", "a breeder", "--to", "Show", "--acknowledge", "--yes",
    )  # fmt: skip
    for day in (10, 11, 12, 13):
        moment = f"2026-02-{day} {'16:00:00' if day < 13 else '07:30:00'}"
        at(moment, "look", f"Q1 12{'' if day == 10 else ' 3'}", "--no-signs")
        at(moment, "reading", "Q1", *WATER.split())


Make = Callable[..., Room]


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    folder = tmp_path_factory.mktemp("filter-off")
    made: dict[str, Path] = {}

    def get(name: str) -> Path:
        if name not in made:
            file = folder / f"{name}.toml"
            file.write_text(
                template(chore="Filter on again").replace('filter = "running"', 'filter = "off"'), encoding="utf-8"
            )
            made[name] = folder / name
            build(made[name], str(file), PARTS if name == "parts" else ())
        return made[name]

    return get


@pytest.fixture
def room(
    built: Callable[[str], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Make:
    """A copy of the fish room, and an environment that says nothing."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def make(name: str = "parts") -> Room:
        shutil.copytree(built(name), tmp_path / "home")
        return Room(tmp_path / "home", capsys, monkeypatch)

    return make


def poured(room: Room) -> Room:
    """The bath is given as it is shown, with the filter off."""
    code = next(t["code"] for t in room.ask("today", at=POUR)["tasks"] if t["kind"] == "dose")
    room.run("done", code, "--as-shown", at=POUR)
    return room


def level(room: Room, at: str) -> tuple[str, ...]:
    """What the last line of the ledger says, with its sums."""
    lines = room.run("level", "Q1", "levamisole", at=at).split("\n\n")
    return tuple(line.strip() for line in lines[-1].strip().splitlines())


def test_C10_the_card_is_for_the_tank_alone_and_says_why(room: Make) -> None:
    """62 L less 12 L of sump and filter are 50 L, give or take 0.4 L + 0.6 L: 2 mg/L are 0.1 g."""
    said = " ".join(room().run("today", at=POUR).split())
    assert "ADD 0.1 g of Levamisole" in said
    assert "for 50 L, plus or minus 1 L; target 2 mg/L; gives 1.96 to 2.05 mg/L" in said
    assert "filter off: the 12 L of sump and filter do not take part, 50 L are dosed." in said
    # By its end all the water is counted, and no more can be drained at once than the tank holds: 59 L of 50 L.
    assert "At its end: change 7 times 24.5 L, or the fish into clean water" in said


def test_C10_the_dose_on_record_keeps_both_litres(room: Make) -> None:
    """The fact has the tank's own litres, all of them, and those that took no part; a chore puts the filter back."""
    data = poured(room()).facts("dose")[0]["data"]
    assert (data["volume_litres"], data["volume_plus_minus_litres"]) == ("50", "1")
    assert (data["whole_litres"], data["whole_plus_minus_litres"]) == ("62", "0.4")
    assert (data["apart_litres"], data["apart_plus_minus_litres"]) == ("12", "0.6")
    assert (data["gives_low_mg_per_l"], data["gives_high_mg_per_l"]) == ("1.96", "2.041")
    assert "put_back" not in data


def test_C10_the_level_can_be_done_again_by_hand(room: Make) -> None:
    """The sums are of the tank alone, and beside each stands what it would be if the filter ran again; the upper bound
    is the first, and stays until somebody says that it runs."""
    found = poured(room())
    assert level(found, "2026-02-13 09:00:00") == (
        "2026-02-13 09:00 dose: 0.1 g (N01; planned 2 mg/L), Robin",
        "Then 1.602 to 2.041 mg/L",
        "100 mg / 49 L = 2.041 mg/L",
        "if the filter ran again: (2.041 x 49 + 0 x 12.6) / 61.6 = 1.623 mg/L",
        "100 mg / 51 L = 1.961 mg/L",
        "if the filter ran again: (1.961 x 51 + 0 x 11.4) / 62.4 = 1.603 mg/L",
    )
    whole = found.run("level", "Q1", "levamisole", at="2026-02-13 09:00:00")
    assert "filter off: 12 L, plus or minus 0.6 L, of sump and filter stand apart, Robin" in whole
    assert "    49 L are there\n    51 L are there" in whole
    found.run("done", found.code("Filter on again", at="2026-02-13 10:00:00"), at="2026-02-13 10:00:00")
    assert [f["data"] for f in found.facts("filter_on")] == [{}]
    assert level(found, "2026-02-13 10:00:00") == (
        "2026-02-13 11:00 the filter runs again: its water and that of the tank are one, Robin",
        "Then 0 to 1.624 mg/L",
        "(2.041 x 49 + 0 x 12.6) / 61.6 = 1.623 mg/L",
        "(1.961 x 51 + 0 x 11.4) / 62.4 = 1.603 mg/L",
    )
    assert found.entries() > 0


def test_C10_a_filter_that_was_not_put_back_after_all(room: Make) -> None:
    """Taken back, the chore says nothing any more: the level is again that of the tank alone."""
    found = poured(room())
    before = level(found, "2026-02-13 10:00:00")
    found.run("done", found.code("Filter on again", at="2026-02-13 10:00:00"), at="2026-02-13 10:00:00")
    found.run("undo", "it was the light", at="2026-02-13 10:01:00")
    assert level(found, "2026-02-13 10:02:00") == before


def test_C10_the_bath_ends_by_the_litres_that_it_says(room: Make) -> None:
    """24.5 L seven times are enough whether or not the filter ran in between: with the 100 mg in 61.6 to 62.4 L, six
    are (1.624 x (1 - 24.5 / 62.4)^6 = 0.081 mg/L), and five are not."""
    found, at = poured(room()), "2026-02-14 08:30:00"
    end = found.code("End the bath", at=at)
    for n in range(5):
        assert "not at its end yet" in found.run("bath", "end", end, "--out", "24.5 L", at=f"2026-02-14 08:3{n}:00")
    assert "not at its end" not in found.run("bath", "end", end, "--out", "24.5 L", at="2026-02-14 08:35:00")


def test_C10_a_dose_without_a_task_goes_into_the_tank_as_it_stands(room: Make) -> None:
    """While the filter is off by the record, 0.05 g more are 50 mg in 49 to 51 L, not in 62 L."""
    found = poured(room())
    found.run("event", "dose", "Q1", "N01", "--gave", "0.05 g", "--really", at="2026-02-13 12:00:00")
    data = found.facts("dose")[1]["data"]
    assert (data["volume_litres"], data["gives_high_mg_per_l"]) == ("50", "1.021")
    assert level(found, "2026-02-13 12:00:00")[1] == "Then 0.8012 to 3.062 mg/L"


def test_C10_where_nothing_of_sump_and_filter_is_on_record_the_keeper_confirms_it(room: Make) -> None:
    """The same tank without those measures is dosed for its 62 L, after a word that none of them stand apart."""
    said = " ".join(room("plain").run("today", at=POUR).split())
    assert "for 62 L, plus or minus 0.4 L" in said
    assert "Confirm: No sump or filter is on record: none of the 62 L stand apart while the filter is off" in said
