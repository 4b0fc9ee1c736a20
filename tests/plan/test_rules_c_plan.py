"""Rules A9 to A13, B2 and C5 to C19 where a small change of the code went unseen: each of these was broken by hand, and
is held here."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from freezegun import freeze_time
from test_bathing import POUR, WATER, baths, change, fact, pour

from quarantine.bathing import before_pour, contact_word, is_timed
from quarantine.cli.app import run
from quarantine.dosing import Setting, propose, read_strength
from quarantine.formulary import is_prolonged, regimen
from quarantine.quantity import decimal_up
from quarantine.water.ledger import Water, level_of
from quarantine.water.level import Level

# --- C5: the end of a bath -------------------------------------------------------------------------------------------

HOUR = timedelta(hours=1)


def setting(litres: float, plus_minus: float, *, kind: str, step: str) -> Setting:
    """A measured water with nothing in it, at the time of the pour."""
    return Setting(
        kind=kind,
        zone="Europe/Berlin",
        now=POUR,
        volume=Water(litres, plus_minus),
        volume_says="measured",
        levels={},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal(step),
        species=("Astronotus ocellatus",),
    )


@pytest.mark.parametrize(
    ("drained_after", "word"), [(22, "partly"), (23, "as published"), (24, "as published"), (24.5, "overrun")]
)
def test_c5_contact_runs_from_the_last_addition_and_its_ceiling_from_the_first(drained_after: float, word: str) -> None:
    """A second half poured an hour later: 21 h after it are under 90 % of 24 h, and 24 h after the first is the most."""
    facts = [pour(), pour(POUR + HOUR, "f9")]
    (bath,) = baths(facts)
    assert contact_word(bath, POUR + drained_after * HOUR) == word


def test_c5_water_that_flows_through_ends_the_contact_where_it_begins() -> None:
    """A flow is a drain like a change: what it took out of 24 h is counted from its first minute."""
    flow = fact("exchange", POUR + 20 * HOUR, "f2", None, litres_per_hour="5", until=None)
    (bath,) = baths([pour(), flow])
    assert bath.drained_at == POUR + 20 * HOUR
    assert contact_word(bath, bath.drained_at) == "partly"


def test_c5_a_pour_after_a_drain_begins_the_contact_anew() -> None:
    """5 L out after 10 h end no bath of 2 mg/L; once it was poured again nothing has been drained since."""
    drained = [pour(), change(5, 10 * HOUR)]
    (bath,) = baths(drained)
    assert bath.drained_at == POUR + 10 * HOUR
    (again,) = baths([*drained, pour(POUR + 11 * HOUR, "f9")])
    assert (again.drained_at, again.over) == (None, None)
    assert again.last.at == POUR + 11 * HOUR


def test_c5_a_bath_has_ended_at_its_limit_itself() -> None:
    """ "At or under": the upper bound that a change leaves is exactly the limit."""
    left = level_of([pour(), change(40, 24 * HOUR)], "levamisole", WATER, "none", POUR + 25 * HOUR).high
    assert left is not None
    (bath,) = baths([pour(limit_mg_per_l=str(decimal_up(left))), change(40, 24 * HOUR)])
    assert bath.over is not None
    assert bath.upper == bath.limit


@pytest.mark.parametrize(("hours", "timed"), [("48", True), ("49", False)])
def test_c5_a_bath_of_48_hours_is_timed_and_a_longer_one_is_prolonged(hours: str, timed: bool) -> None:
    """The limit itself belongs to the timed ones, by both of the functions that ask."""
    row = regimen("N01")[1]
    assert row.contact is not None
    assert row.contact.high is not None
    row = row._replace(contact=row.contact._replace(high=row.contact.high._replace(value=Decimal(hours), unit="h")))
    assert is_timed(row) is timed
    assert is_prolonged(row) is not timed


def test_c5_the_water_that_stands_ready_counts_what_is_in_the_tank_already() -> None:
    """2 mg/L to 0.1 mg/L in 100 L: 95 L out, and a step of 0.1 L for what floats may hide. With 1 mg/L there before it is
    3 mg/L: 96.666 L, shown as 96.7 L."""
    substance, row = regimen("N01")
    water = setting(100.0, 0.0, kind="fresh", step="0.001")._replace(product=read_strength("100 % as base", substance))
    dose = propose(substance, row, water).dose
    assert dose.add == Decimal("0.2")
    for held, litres in ((0.0, "95.1 L"), (1.0, "96.7 L")):
        said = before_pour(substance, row, water._replace(levels={"levamisole": Level(0.0, held)}), dose, "DXXXX")
        assert said is not None
        assert said.confirm[0].startswith(f"{litres} of matched, conditioned water stand ready")
        assert f"change at least {litres} at once" in said.how


def test_c6_the_dose_that_ends_a_dip_begins_no_bath() -> None:
    """A dip is over once it is told: whatever its fact says of contact, no end is waited for."""
    assert baths([pour(route="dip")]) == []
    assert len(baths([pour()])) == 1


# --- Rules that only the whole program carries ------------------------------------------------------------------------


class House:
    """A record with a tank of 60 x 30 cm filled to 30.1 cm, 54.18 L, and one batch in it from the first of March on."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str], protocol: str = "fresh-watch") -> None:
        self.home, self.capsys = home, capsys
        self.says("2026-03-01 09:00", "site", "add", "Hall", "--zone", "UTC")
        self.says("2026-03-01 09:00", "keeper", "add", "Robin")
        size = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30.1 cm"]
        for tank, role in (("Q1", "quarantine"), ("Show", "display")):
            self.says(
                "2026-03-01 09:00", "tank", "add", tank, "--site", "Hall", "--role", role, "--water", "fresh", *size
            )
        fish = ["--fish", "12 Melanotaenia praecox, 5 cm", "--from", "a breeder", "--to", "Show", "--acknowledge"]
        start = ["batch", "start", "--tank", "Q1", "--protocol", protocol, "--arrived", "2026-03-01 09:30", *fish]
        self.says("2026-03-01 10:00", *start)

    def says(self, at: str, *words: str, code: int = 0) -> str:
        with freeze_time(at):
            found = run(["--home", str(self.home), *words])
        said = self.capsys.readouterr()
        assert found == code, (words, said)
        return " ".join((said.err if code else said.out).split())


def test_c4_the_litres_of_a_planned_change_are_rounded_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A quarter of 54.18 L is 13.545 L: 13.6 L are shown, so that no less goes out than the template says."""
    house = House(tmp_path / "home", capsys)
    assert "13.6 L" in house.says("2026-03-08 10:00", "today")
