"""How repeats are sized (rule C1): by what was taken out, by what is left, never by the upper bound (F23, P31)."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from history import History
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.dosing import Proposal, Setting, propose
from quarantine.dosing.repeats import MOVES_WATER
from quarantine.facts import Fact
from quarantine.formulary import load, regimen
from quarantine.quantity import Quantity, decimal_up
from quarantine.water.ledger import Water, level_of, never_dosed, substances_in

HISTORY = History("marine-watch")
STEP = Decimal("0.001")


class Basin:
    """A water with its facts; what is asked of it is asked at noon of a day."""

    def __init__(self, litres: float = 100.0, plus_minus: float = 0.0, kind: str = "marine") -> None:
        self.water, self.kind = Water(litres, plus_minus), kind
        self.facts: list[Fact] = []
        self.history = History("marine-watch", water=self.water)

    def dose(
        self,
        n: int,
        milligrams: str,
        clock: str = "09:00",
        *,
        key: str = "S:dose:f0001:1",
        substance: str = "praziquantel",
    ) -> Fact:
        data = {"substance": substance, "route": "prolonged", "mass_mg": milligrams, "target_mg_per_l": "2", "key": key}
        return self.add("dose", n, clock, data)

    def change(self, n: int, litres: str, clock: str = "10:00", back: str | None = None) -> Fact:
        return self.add("change", n, clock, {"out_litres": litres, "in_litres": back or litres})

    def add(self, kind: str, n: int, clock: str, data: dict[str, str]) -> Fact:
        fact = self.history.fact(kind, self.history.at(n, clock), data, batch=None)
        self.facts.append(fact)
        return fact

    def setting(self, n: int, clock: str = "12:00") -> Setting:
        now = self.history.at(n, clock)
        facts = [f for f in self.facts if f.at <= now]
        return Setting(
            kind=self.kind,
            zone="Europe/London",
            now=now,
            volume=self.water,
            volume_says="measured",
            levels={s: level_of(facts, s, self.water, load(s).loss, now) for s in substances_in(facts)},
            doses=tuple(f for f in facts if f.kind == "dose"),
            evidence=None,
            scale_step_grams=STEP,
            never_dosed=never_dosed(facts, self.water, now),
            moved=tuple(f for f in facts if f.kind in MOVES_WATER),
            readings=tuple(f for f in facts if f.kind == "reading"),
        )

    def repeat(self, n: int, row: str = "Z01", *, mode: str = "replace removed", target: str | None = None) -> Proposal:
        wanted = None if target is None else Quantity(Decimal(target), "mg/L")
        return propose(*regimen(row), self.setting(n), mode=mode, target=wanted)


def grams(proposal: Proposal) -> Decimal:
    assert proposal.hold is None, proposal.hold
    assert proposal.dose.add is not None
    return proposal.dose.add


def test_story_two_a_change_of_two_fifths_is_made_good_by_two_fifths_of_the_dose() -> None:
    """40 % of the water on day 6: 40 % of the full 0.2 g of praziquantel for 100 L."""
    basin = Basin()
    assert grams(basin.repeat(0)) == Decimal("0.2")
    basin.dose(0, "200")
    basin.change(6, "40")
    assert grams(basin.repeat(6)) == Decimal("0.08")
    assert any(
        "40 L of 100 L were taken out since the last dose: 40 % of the water" in x for x in basin.repeat(6).working
    )


def test_story_two_as_published_gives_the_full_dose_whatever_was_changed() -> None:
    """A template that repeats a decaying drug as published shows the full amount: no repeat is ever sized down."""
    basin = Basin()
    basin.dose(0, "200")
    full = grams(basin.repeat(6, mode="as published"))
    basin.change(6, "40")
    assert grams(basin.repeat(6, mode="as published")) == full == Decimal("0.2")


def test_two_changes_are_made_good_by_what_both_left() -> None:
    """60 % of 60 % is left: 0.64 of 0.2 g, and not 0.8 of it."""
    basin = Basin()
    basin.dose(0, "200")
    basin.change(6, "40", "10:00")
    basin.change(6, "40", "11:00")
    assert grams(basin.repeat(6)) == Decimal("0.128")


def test_what_is_left_bounds_a_repeat_of_what_does_not_decay() -> None:
    """Salt at twice its target stands at 1.2 of it after two fifths went out: there is nothing to add."""
    basin = Basin(kind="fresh")
    basin.dose(0, "1000000", substance="sodium-chloride")
    basin.change(6, "40")
    basin.add(
        "reading", 6, "11:00", {"parameter": "salinity", "value": "6", "step": "0.1", "unit": "g/L", "water": "fresh"}
    )
    hold = basin.repeat(6, "T04").hold
    assert hold is not None
    assert hold.rule == "C1"


def test_salt_replaces_what_went_out_and_needs_a_reading_after_the_change() -> None:
    """5 g/L in 100 L, 40 L out: 3 g/L are read, and 200 g bring 5 g/L back; the reading from before is no answer."""
    basin = Basin(kind="fresh")
    basin.dose(0, "500000", substance="sodium-chloride")
    reading = {"parameter": "salinity", "step": "0", "unit": "g/L", "water": "fresh"}
    basin.add("reading", 6, "09:00", {**reading, "value": "5"})
    basin.change(6, "40")
    hold = basin.repeat(6, "T04").hold
    assert hold is not None
    assert hold.rule == "C15"
    basin.add("reading", 6, "11:00", {**reading, "value": "3"})
    assert grams(basin.repeat(6, "T04")) == Decimal("200")
    assert grams(basin.repeat(6, "T04", mode="top up to a reading")) == Decimal("200")


def test_evaporation_and_a_top_up_take_nothing_out() -> None:
    """Nothing went out, so nothing is replaced: the repeat is held, and says what to do."""
    basin = Basin()
    basin.dose(0, "200")
    basin.add("evaporation", 5, "09:00", {"litres": "5"})
    basin.add("topup", 5, "10:00", {"litres": "5"})
    hold = basin.repeat(6).hold
    assert hold is not None
    assert (hold.rule, hold.remedy.startswith("log what water was changed")) == ("C1", True)
    basin.change(6, "40")
    assert grams(basin.repeat(6)) == Decimal("0.08")


def test_a_change_of_evaporated_water_counts_by_the_water_before_it() -> None:
    """95 L after evaporation, 38 L out: 40 % of what was in them (rule C12: out / volume before)."""
    basin = Basin()
    basin.dose(0, "200")
    basin.add("evaporation", 5, "09:00", {"litres": "5"})
    basin.change(6, "38", back="43")
    assert grams(basin.repeat(6)) == Decimal("0.08")


def test_the_first_dose_is_the_full_one() -> None:
    """Nothing was given yet, so there is nothing to replace; what was changed before it is not counted."""
    basin = Basin()
    basin.change(5, "40")
    assert grams(basin.repeat(6)) == Decimal("0.2")


def test_a_published_gap_is_between_full_doses() -> None:
    """Z01 is 4 days apart: the full amount waits, what replaces a change does not, and one a day is the most."""
    basin = Basin()
    basin.dose(5, "200")
    basin.change(6, "40")
    assert basin.repeat(6).hold is None
    full = basin.repeat(6, mode="as published").hold
    assert full is not None
    assert full.rule == "minimum gap"
    basin.dose(6, "80", "11:00", key="S:dose:f0002:0")
    basin.change(6, "40", "11:30")
    twice = basin.repeat(6).hold
    assert twice is not None
    assert (twice.rule, twice.remedy) == ("minimum gap", "wait until tomorrow")


def test_a_repeat_over_the_ceiling_is_held_with_a_computed_change() -> None:
    """14.4 mg/L may be left, over the ceiling of 10 mg/L: refused, never made smaller, and the change is computed."""
    basin = Basin()
    basin.dose(0, "1600")
    basin.change(6, "10")
    hold = basin.repeat(6).hold
    assert hold is not None
    assert hold.rule == "ceiling"
    # The dose is 2 mg/L x 10 L = 20 mg, 0.2 mg/L: (1 - 9.8 / 14.4) x 100 L = 31.94 L, up to 0.1 L.
    assert "change at least 32 L of water first (32 %)" in hold.remedy


def test_an_unknown_level_is_never_sized() -> None:
    """After an addition of unknown size nobody knows what is left (rule C12)."""
    basin = Basin()
    basin.dose(0, "200")
    basin.add("unknown_addition", 5, "09:00", {"what": "a spoon of something"})
    basin.change(6, "40")
    hold = basin.repeat(6).hold
    assert hold is not None
    assert hold.rule == "C12"


def test_the_card_says_how_its_repeats_go_and_what_comes_first() -> None:
    """Rules C1 and C11, on the card of a treatment that stays in the water; a timed bath has no such line."""
    basin = Basin()
    found = basin.setting(0)._replace(first=("K7M2 Change a quarter of the water",))
    how = propose(*regimen("Z01"), found, mode="as published").how
    assert "First the water change, then the dose (rule C11): K7M2 Change a quarter of the water." in how
    assert any(line.startswith("Repeats: as published, the full amount on its own dates") for line in how)
    timed = propose(*regimen("Z02"), basin.setting(0), mode="as published").how
    assert not any(line.startswith("Repeats:") for line in timed)


# --- Outside checks: mass balance (algebra), calculations.md section c -----------------------------------------


@pytest.mark.parametrize(
    ("target", "fraction", "litres", "milligrams"),
    [
        # "Redose after change, no decay: mass = Ct f V": Ct 0.2, f 0.3, V 75 gives 4.5 mg. Ten times the target, as
        # praziquantel is dosed: 45 mg.
        ("2", "0.3", 75, "45"),
        ("2", "0.4", 100, "80"),
        ("2", "0.25", 60, "30"),
    ],
)
def test_redose_after_a_change_is_target_times_the_litres_out(
    target: str, fraction: str, litres: int, milligrams: str
) -> None:
    """calculations.md c, row "Redose after change, no decay"; algebra, no published worked example was found."""
    basin = Basin(float(litres))
    basin.dose(0, str(Decimal(target) * litres))
    basin.change(6, str(Decimal(fraction) * litres))
    assert grams(basin.repeat(6, target=target)) * 1000 == Decimal(milligrams)


def test_redose_with_decay_is_within_the_two_ends_of_the_algebra() -> None:
    """calculations.md c, row "Redose with decay": (Ct - C (1 - f)) V, here (2 - C x 0.7) x 75, between 45 mg (nothing
    decayed) and 97.5 mg (half decayed). What decayed is unknown, and the mode replaces what was taken out: 45 mg."""
    basin = Basin(75.0)
    basin.dose(0, "150")
    basin.change(6, "22.5")
    added = grams(basin.repeat(6)) * 1000
    assert added == 45
    assert (Decimal(2) - Decimal(2) * Decimal("0.7")) * 75 <= added <= (Decimal(2) - Decimal(1) * Decimal("0.7")) * 75


SEQUENCES = [
    [Fraction(percent, 100) for percent in percents]
    for percents in (
        (10,), (20,), (25,), (30,), (40,), (50,), (75,), (90,), (10, 10), (25, 25), (50, 50), (40, 10), (10, 40),
        (30, 30, 30), (25, 25, 25, 25), (5, 10, 20), (20, 10, 5), (33, 33, 34), (90, 50, 25), (1, 2, 3, 4, 5),
    )
]  # fmt: skip


@pytest.mark.parametrize("fractions", SEQUENCES, ids=str)
def test_F23_twenty_sequences_against_the_closed_form(fractions: list[Fraction]) -> None:
    """target x V x (1 - (1-f1)(1-f2)...): closed-form dilution, to a step of the scale, and the target is restored."""
    basin = Basin()
    basin.dose(0, "200")
    left = Fraction(1)
    for place, fraction in enumerate(fractions):
        left *= 1 - fraction
        basin.change(1 + place, str(Decimal(100) * fraction.numerator / fraction.denominator))
    n = len(fractions) + 1
    exact = Fraction(200) * (1 - left)
    added = Fraction(grams(basin.repeat(n)) * 1000)
    assert exact - 1 < added <= exact
    high = level_of(basin.facts, "praziquantel", basin.water, "none", basin.history.at(n)).high
    assert high is not None
    assert Fraction(2) - Fraction(1, 100) < Fraction(high) + added / 100 <= Fraction(2) + Fraction(1, 10**9)


# --- Properties ------------------------------------------------------------------------------------------------

LITRES = st.decimals("20", "400", places=0)
CHANGES = st.lists(st.decimals("0.01", "0.95", places=2), min_size=1, max_size=5)


@settings(max_examples=60)
@given(LITRES, st.decimals("0", "0.2", places=2), CHANGES)
def test_a_redose_restores_and_never_overshoots(litres: Decimal, share: Decimal, fractions: list[Decimal]) -> None:
    """With no decay the lower bound never passes the target; with the volume exact, the target comes back."""
    basin = Basin(float(litres), float(share * litres))
    first = grams(basin.repeat(0))
    basin.dose(0, str(first * 1000))
    for place, fraction in enumerate(fractions):
        basin.change(1 + place, str((fraction * litres).quantize(Decimal("0.1")) or Decimal("0.1")))
    n = len(fractions) + 1
    proposal = basin.repeat(n)
    if proposal.hold is not None:  # a step of the scale is too coarse for so little
        assert proposal.hold.rule == "C4"
        return
    basin.dose(n, str(grams(proposal) * 1000), "12:00", key="S:dose:f0009:0")
    level = level_of(basin.facts, "praziquantel", basin.water, "none", basin.history.at(n, "13:00"))
    assert level.low is not None
    assert Decimal(repr(level.low)) <= Decimal(2)
    lost = Decimal(1) / litres  # a step of the scale, twice at most: at the first dose and now
    if share == 0:
        assert Decimal(repr(level.low)) > Decimal(2) - 2 * lost - Decimal("0.001")


@settings(max_examples=60)
@given(
    LITRES, st.lists(st.tuples(st.sampled_from(["change", "dose"]), st.decimals("0.05", "0.9", places=2)), max_size=8)
)
def test_no_accepted_history_passes_the_ceiling(litres: Decimal, acts: list[tuple[str, Decimal]]) -> None:
    """Whatever is changed and asked for, day by day, in both modes: what is shown keeps the upper bound under 10 mg/L,
    and a repeat as published is the full amount or none."""
    basin = Basin(float(litres), float(litres) / 50)
    for n, (act, share) in enumerate(acts):
        if act == "change":
            basin.change(n, str((share * litres).quantize(Decimal("0.1"))), "08:00")
            proposal = basin.repeat(n)
        else:
            proposal = basin.repeat(n, mode="as published")
            if proposal.hold is None:
                assert proposal.dose.add == (2 * litres / 1000).quantize(STEP)
        if proposal.hold is None:
            basin.dose(n, str(grams(proposal) * 1000), "12:00")
        now = basin.history.at(n) + timedelta(hours=12)
        high = level_of(basin.facts, "praziquantel", basin.water, "possible", now).high
        assert high is not None
        assert decimal_up(high) <= 10
