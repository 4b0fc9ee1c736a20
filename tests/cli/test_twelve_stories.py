"""The twelve stories that the whole tool is accepted by, each from the first command to the last, on a clock that is
set, in the aquarium room of an invented community centre. This page has 1, 2, 3, 9, 10 and 11."""

from __future__ import annotations

from pathlib import Path

import pytest
from centre_room import MARINE, Centre

def log(*x):
    with open("/tmp/n5.log", "a") as f:
        print(*x, file=f)


PRAZI = "marine-praziquantel"
DAY_8 = ('start = { arrival = "3 d" }\nrepeat', 'start = { arrival = "8 d" }\nrepeat')


@pytest.fixture
def fresh(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """100 L of fresh water in Q1."""
    return Centre(tmp_path, capsys, monkeypatch, "fresh")


@pytest.fixture
def marine(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """100 L of sea water in Q1."""
    return Centre(tmp_path, capsys, monkeypatch, "marine")


def test_story_1_the_second_keeper_is_told_who_gave_the_dose_and_when(marine: Centre) -> None:
    """Basement, day 12: Robin gives the dose at 20:10; Noor types it at 20:40 and is refused with Robin's time."""
    window = ('window = { from = "08:00", until = "20:00" }', 'window = { from = "08:00", until = "22:00" }')
    marine.arrive(marine.template("own", PRAZI, DAY_8, window), "2026-03-02 10:00")
    marine.days("2026-03-03", "2026-03-10", 12)
    (first,) = marine.due()
    marine.type(f"done {first['code']} --as-shown")
    marine.days("2026-03-11", "2026-03-14", 12)
    (dose,) = marine.at("2026-03-14 20:10").due()
    assert (dose["day"], "day 12" in marine.type("today")) == ("2026-03-14", True)
    marine.type(f"done {dose['code']} --as-shown")
    refused = marine.at("2026-03-14 20:40").type(f"--as Noor done {dose['code']} --as-shown", code=1)
    log(refused)
    assert "Robin" in refused
    assert "2026-03-14 20:10" in refused
    given = [t["state"] for t in marine.tasks("dose")]
    assert given == ["done", "done"]
    marine.whole()


def test_story_2_a_change_calls_for_its_part_of_the_dose_and_for_conditioner_for_new_water_only(
    marine: Centre,
) -> None:
    """40 % changed on day 6: what lasts is dosed again by 40 % of the full dose, conditioner is for the new 40 L; what
    breaks down is dosed again in full, where its template says so."""
    once = ("times = 2", "times = 1")
    late = ('start = { after = "dose", by = "3 d" }', 'start = { after = "dose", by = "9 d" }')
    lasts = ('mode = "as published"', 'mode = "replace removed"')
    decays = ('mode = "as published"', 'mode = "as published"\nafter_change = "full"')
    marine.tank("Q2", litres="100 L")
    marine.arrive(marine.template("lasting", PRAZI, once, late, lasts), "2026-03-02 10:00", tank="Q1")
    marine.arrive(marine.template("decaying", PRAZI, once, late, decays), "2026-03-02 10:00", tank="Q2")
    marine.days("2026-03-03", "2026-03-05", 12, "Q1 Q2")
    for tank in ("Q1", "Q2"):
        (dose,) = marine.due(tank=tank)
        assert dose["dose"]["add"] == 0.2
        marine.type(f"done {dose['code']} --as-shown")
    marine.days("2026-03-06", "2026-03-08", 12, "Q1 Q2")
    for tank in ("Q1", "Q2"):
        marine.type(f"reading {tank} --tap-chlorine '1 mg/L'")
        said = marine.type(f"event change {tank} --out 40L")
        log(said)
        assert "new water: 40 L" in said
    marine.at("2026-03-08 12:30")
    for tank in ("Q1", "Q2"):
        marine.type(f"reading {tank} {MARINE}")
    (part,), (whole,) = marine.due(tank="Q1"), marine.due(tank="Q2")
    log(part, whole)
    assert part["dose"]["add"] == 0.08
    assert whole["dose"]["add"] == 0.2
    assert "40 L of 100 L" in marine.type(f"why {part['code']}")
    marine.type(f"done {part['code']} --as-shown")
    marine.type(f"done {whole['code']} --as-shown")
    marine.whole()


def test_story_3_a_measured_volume_changes_later_doses_only_and_the_level_warns(marine: Centre) -> None:
    """75 L were entered; 61 L are measured on day 3, after the first dose: that dose stays as it was given, the second
    is computed for 61 L, and the level says that the first was too strong."""
    marine.type("tank measure Q1 '75 L' --by 'the label' --plus-minus '1 L' --really")
    marine.arrive(PRAZI, "2026-03-02 10:00")
    marine.days("2026-03-03", "2026-03-05", 12)
    (first,) = marine.due()
    marine.type(f"done {first['code']} --as-shown")
    before = marine.given(first["code"])
    log(before)
    said = marine.at("2026-03-05 12:00").type("tank measure Q1 61L --by 'counted buckets' --plus-minus 0.5L --really")
    log(said)
    log(marine.type("level Q1 praziquantel"))
    marine.days("2026-03-06", "2026-03-09", 12)
    log(marine.type("level Q1 praziquantel"))
    log(marine.type("today"))
    (second,) = marine.due()
    log(second)
    assert marine.given(first["code"]) == before
