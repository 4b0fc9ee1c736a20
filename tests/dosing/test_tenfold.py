"""A ten-fold slip in any one input of any shipped template is caught before an amount is believed (F22)."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from freezegun import freeze_time
from test_dip_and_food_commands import DAY_3, Hall

from quarantine.formulary import regimen
from quarantine.protocol import ProtocolError, load, read, shipped
from quarantine.quantity import show

MEDICATED = [name for name in shipped() if load(name).medicated]
FOOD = [name for name in MEDICATED if name.endswith("-food")]
TEN = (Decimal(10), Decimal("0.1"))


def treatments(name: str) -> list[str]:
    """The regimens of a template."""
    return re.findall(r'(?m)^regimen = "([^"]+)"', shipped()[name].read_text(encoding="utf-8"))


RATES = [(name, row, times) for name in MEDICATED for row in dict.fromkeys(treatments(name)) for times in TEN]


@pytest.mark.parametrize(("name", "row", "times"), RATES)
def test_a_rate_that_is_ten_times_off_is_a_mistake_of_the_template(name: str, row: str, times: Decimal) -> None:
    """Written into the template it is refused by the bounds of its regimen, or has no place there at all."""
    text = shipped()[name].read_text(encoding="utf-8")
    target = regimen(row)[1].target
    assert target is not None
    rate = f"{show(target.low.value * times)} {target.low.unit}"
    slipped = text.replace(f'regimen = "{row}"\n', f'regimen = "{row}"\ntarget = "{rate}"\n')
    assert slipped != text
    with pytest.raises(ProtocolError, match="target"):
        read(slipped, f"{name}.toml")


@pytest.mark.parametrize("times", TEN)
@pytest.mark.parametrize("name", [name for name in MEDICATED if load(name).water == "fresh"])
def test_litres_that_are_ten_times_off_are_asked_about(
    name: str, times: Decimal, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """54 L by its measures, 540 L or 5.4 L typed: by meter, by buckets, or on the label of a new tank."""
    hall = Hall(tmp_path / "home", capsys, name)
    litres = show(Decimal(54) * times)
    with freeze_time(DAY_3):
        by = ["--by", "meter", "--plus-minus", "0.1 L"]
        assert "may be a slip" in hall.says("tank", "measure", "Q1", f"{litres} L", *by, code=1)
        assert "may be a slip" in hall.says("tank", "gauge", "Q1", "--buckets", f"1 x {litres} L", code=1)
        box = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm", "--label", f"{litres} L"]
        new = ["tank", "add", "Q9", "--site", "Hall", "--role", "quarantine", "--water", "fresh", *box]
        assert "may be a slip" in hall.says(*new, code=1)
        hall.says(*new, "--really")


@pytest.mark.parametrize(("label", "asked"), [((), True), (("--label", "60 L"), False)])
def test_litres_of_typed_lengths_alone_are_asked_about_before_a_bath_is_planned(
    label: tuple[str, ...], asked: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """600 cm typed for 60 cm is seen by nobody else where there is no label and nothing was measured."""
    hall = Hall(tmp_path / "home", capsys, "fresh-salt-dip")
    with freeze_time(DAY_3):
        box = ["--site", "Hall", "--water", "marine", "--shape", "box", "--length", "60 cm", "--width", "30 cm"]
        for tank, role in (("Q8", "quarantine"), ("Reef", "display")):
            hall.says("tank", "add", tank, "--role", role, *box, "--filled", "30 cm", *label)
        start = [
            *("batch", "start", "--tank", "Q8", "--protocol", "marine-praziquantel", "--arrived", "2026-02-13 15:00"),
            *("--fish", "4 Centropyge bicolor", "--from", "an importer", "--to", "Reef", "--acknowledge"),
        ]
        said = hall.says(*start, code=1 if asked else 0)
        assert ("54 L in Q8, which come from typed lengths and were compared with nothing" in said) is asked
        if asked:
            hall.says("tank", "gauge", "Q8", "--buckets", "5 x 10.6 L")
            hall.says(*start)


@pytest.mark.parametrize("times", TEN)
@pytest.mark.parametrize("name", FOOD)
def test_a_dose_in_food_ten_times_off_is_asked_about(
    name: str, times: Decimal, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The first weight against the length of the fish, the next against the one before it, and the amount given
    against the one shown: 12 fish of 5 cm at 2.5 g have a condition factor of 100 x 2.5 / 125 = 2."""
    hall = Hall(tmp_path / "home", capsys, name)
    with freeze_time(DAY_3):
        grams = show(Decimal(30) * times)
        first = hall.says("batch", "weigh", "Q1-1", f"{grams} g", "--by", "scale", "--eats", "0.5 %", code=1)
        assert "for the length on record (5 cm). A slip of the unit or the decimal point?" in first
        hall.says("batch", "weigh", "Q1-1", "30.0 g", "--by", "scale", "--eats", "0.5 %")
        assert "decimal point" in hall.says("batch", "weigh", "Q1-1", f"{grams} g", "--by", "scale", code=1)
        task = hall.dose()
        assert task["hold"] is None
        gave = show(Decimal(str(task["dose"]["add"])) * times)
        assert "--really" in hall.says("done", task["code"], "--gave", f"{gave} g", code=1)


@pytest.mark.parametrize("times", TEN)
def test_a_dip_ten_times_off_is_asked_about(times: Decimal, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The amount against the one shown; ten times the litres is more water than the tank has, a tenth is too little for
    the fish that are to go in."""
    hall = Hall(tmp_path / "home", capsys, "fresh-salt-dip")
    timed = ["--vessel", "10.0 L", "--started", "15:00:00", "--ended", "15:00:50"]
    with freeze_time(DAY_3):
        code = hall.dose()["code"]
        gave = show(Decimal(300) * times)
        assert "--really" in hall.says("done", code, "--gave", f"{gave} g", *timed, code=1)
        too_much = hall.says("dose", "salt", "--tank", "Q1", "--regimen", "T01", "--vessel", "100 L")
        assert "more than the" in too_much
        too_little = hall.says("dose", "salt", "--tank", "Q1", "--regimen", "T01", "--vessel", "1.00 L")
        assert "1 L in the vessel are little for 12 fish" in too_little


@pytest.mark.parametrize(
    "typed", ["temp=250C", "temp=2.5C", "ph=78", "ph=0.78", "salinity=340g/L", "alkalinity=18000mg/L"]
)
def test_a_reading_ten_times_off_is_hard_to_believe(
    typed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beyond the range a parameter is believed in, it is refused with what it may be; cold water is asked about."""
    hall = Hall(tmp_path / "home", capsys, "fresh-salt-dip")
    with freeze_time(DAY_3):
        said = hall.says("reading", "Q1", typed, code=1)
        assert ("decimal point" if typed == "temp=2.5C" else "hard to believe") in said
