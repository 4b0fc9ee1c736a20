"""Form and strength of a product: what is computed with, and what is refused with the question (treatment notes, 0)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from waters import GOLDFISH, amount, hold, reading, water

from quarantine.dosing import (
    counts_in_ledger,
    given_in_ledger,
    in_ledger,
    level_in,
    out_of_ledger,
    read_strength,
    strength_hold,
)
from quarantine.failures import Refused
from quarantine.formulary import load, load_all
from quarantine.quantity import Quantity

FORMALIN, COPPER, PEROXIDE, SALT = (load(x) for x in ("formalin", "copper", "hydrogen-peroxide", "sodium-chloride"))
PRAZIQUANTEL, BRONOPOL = load("praziquantel"), load("bronopol")
SALTY = water(reading("salinity", "0"))


@pytest.mark.parametrize(
    ("substance", "text", "found"),
    [
        (PRAZIQUANTEL, "98 %", ("98", "", "")),
        (PRAZIQUANTEL, "98% praziquantel", ("98", "", "")),
        (PEROXIDE, "3 % w/v", ("3", "w/v", "")),
        (PEROXIDE, "35 % H2O2 w/w", ("35", "w/w", "")),
        (FORMALIN, "37 % formaldehyde", ("37", "", "formaldehyde")),
        (FORMALIN, "37% w/v as CH2O", ("37", "w/v", "formaldehyde")),
        (FORMALIN, "100 % formalin", ("100", "", "formalin")),
        (COPPER, "99 % as CuSO4.5H2O", ("99", "", "copper sulfate pentahydrate")),
        (COPPER, "99 % CuSO4·5H2O", ("99", "", "copper sulfate pentahydrate")),
        (COPPER, "25.45 % as Cu", ("25.45", "", "Cu")),
        (COPPER, "25 %", ("25", "", "")),
        (SALT, "97 % NaCl", ("97", "", "")),
    ],
)
def test_a_typed_strength_says_how_much_how_meant_and_of_what(
    substance: object, text: str, found: tuple[str, str, str]
) -> None:
    """What a label prints reads, with or without what it counts."""
    form = read_strength(text, substance)  # type: ignore[arg-type]
    assert (str(form.percent), form.by, form.of) == found


@pytest.mark.parametrize(
    ("substance", "text", "words"),
    [
        (FORMALIN, "37", "does not read"),
        (FORMALIN, "370 mg/mL", "does not read"),
        (FORMALIN, "37,5 % formaldehyde", "does not read"),
        (FORMALIN, "0 % formaldehyde", "more than 0"),
        (FORMALIN, "101 % formalin", "at most 100 %"),
        (FORMALIN, "37 % copper", "formaldehyde or formalin"),
        (COPPER, "98 % copper sulfate", "water of crystal"),
        (COPPER, "98 % CuSO4", "water of crystal"),
        (COPPER, "2 % chelated copper", "only its label"),
        (PRAZIQUANTEL, "98 % levamisole", "counted by"),
    ],
)
def test_a_strength_that_reads_two_ways_or_none_is_refused(substance: object, text: str, words: str) -> None:
    """A fourfold or 2.7-fold error is asked about, never guessed."""
    with pytest.raises(Refused, match=words):
        read_strength(text, substance)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("substance", "text", "words"),
    [
        (FORMALIN, None, "2.7-fold"),
        (FORMALIN, "37 %", "formaldehyde or formalin"),
        (FORMALIN, "10 % formalin", "3.7 % formaldehyde"),
        (FORMALIN, "3.7 % formaldehyde", "34 to 40 %"),
        (FORMALIN, "95 % formaldehyde", "34 to 40 %"),
        (COPPER, None, "fourfold"),
        (COPPER, "99 %", "fourfold"),
        (COPPER, "99 % Cu", "more copper than any copper sulfate"),
        (COPPER, "1.5 % Cu w/v", "may be chelated"),
        (PEROXIDE, None, "not known"),
        (PEROXIDE, "35 %", "no density"),
        (PEROXIDE, "35 % w/w", "no density"),
        (BRONOPOL, None, "not known"),
        (BRONOPOL, "50 %", "by weight"),
    ],
)
def test_a_strength_that_matters_and_is_not_said_holds(substance: object, text: str | None, words: str) -> None:
    """Each hold names its source and what to type."""
    form = None if text is None else read_strength(text, substance)  # type: ignore[arg-type]
    found = strength_hold(substance, None, form)  # type: ignore[arg-type]
    assert found is not None
    assert words in found.says
    assert found.reference
    assert found.remedy


def test_a_strength_that_fits_does_not_hold() -> None:
    """And where it is no question none is asked for."""
    for substance, text in (
        (FORMALIN, "37 % formaldehyde"), (FORMALIN, "100 % formalin"), (COPPER, "99 % as CuSO4.5H2O"),
        (COPPER, "25 % Cu"), (PEROXIDE, "3 % w/v"), (BRONOPOL, "50 % w/w"), (SALT, "97 %"),
    ):  # fmt: skip
        assert strength_hold(substance, None, read_strength(text, substance)) is None
    for substance in (SALT, PRAZIQUANTEL):
        assert strength_hold(substance, None, None) is None


def test_what_was_given_goes_into_the_ledger_in_its_own_unit() -> None:
    """10 mL of formalin are 10000 uL; 1 g of the pentahydrate holds 254.5 mg of copper; 5 mL of 3 % w/v hold 150 mg."""
    for substance, text, given, unit, expected in (
        (FORMALIN, "37 % formaldehyde", "10", "mL", "10000"),
        (FORMALIN, "34 % formaldehyde", "10", "mL", "10000"),  # as sold: never more of it
        (FORMALIN, "40 % formaldehyde", "10", "mL", "10810.82"),  # 10000 x 40 / 37, rounded up in 1 mL
        (COPPER, "100 % as CuSO4.5H2O", "1", "g", "254.5"),
        (COPPER, "25 % Cu", "2", "g", "500"),
        (PEROXIDE, "3 % w/v", "5", "mL", "150"),
        (BRONOPOL, "50 % w/w", "2", "g", "1000"),
        (SALT, "97 %", "100", "g", "97000"),
    ):
        form = read_strength(text, substance)
        assert given_in_ledger(substance, form, Quantity(Decimal(given), unit)) == Decimal(expected)
    assert given_in_ledger(PRAZIQUANTEL, None, Quantity(Decimal("0.5"), "g")) == 500


def test_a_dose_really_given_of_unknown_strength_is_asked_about() -> None:
    """The question names the way out for what nobody knows; a liquid is never taken by its weight."""
    with pytest.raises(Refused, match="quarantine event unknown"):
        given_in_ledger(FORMALIN, None, Quantity(Decimal(10), "mL"))
    with pytest.raises(Refused, match="measured in mL"):
        given_in_ledger(FORMALIN, read_strength("37 % formaldehyde", FORMALIN), Quantity(Decimal(10), "g"))
    with pytest.raises(Refused, match="measured in g"):
        given_in_ledger(SALT, None, Quantity(Decimal(10), "mL"))


def test_levels_of_one_substance_add_up_in_one_unit() -> None:
    """Copper and its pentahydrate, 25.45 % (treatment notes, section 0); a bare ppm of a liquid is no amount."""
    assert in_ledger(COPPER, Quantity(Decimal(1), "mg/L copper sulfate pentahydrate")) == Decimal("0.2545")
    assert out_of_ledger(COPPER, Decimal("0.2545"), "mg/L copper sulfate pentahydrate") == 1
    assert level_in(COPPER, Decimal("0.2"), "mg/L copper sulfate pentahydrate", up=True) == "0.786"
    assert in_ledger(FORMALIN, Quantity(Decimal("0.25"), "mL/L")) == 250
    assert in_ledger(SALT, Quantity(Decimal(2), "g/L")) == 2000
    for substance, unit in (
        (COPPER, "mg/L"), (COPPER, "mg/L copper sulfate, hydrate not stated"), (FORMALIN, "mg/L"),
        (FORMALIN, "ppm by weight"), (FORMALIN, "ppm, basis not stated"), (SALT, "mg chloride per mg nitrite"),
    ):  # fmt: skip
        assert not counts_in_ledger(substance, unit)


def test_only_formalin_and_copper_are_kept_otherwise_than_in_mg_per_litre() -> None:
    """A new entry that is counted otherwise says so in its file."""
    kept = {s.id: s.ledger_unit for s in load_all() if s.ledger_unit != "mg/L"}
    assert kept == {"formalin": "uL/L", "copper": "mg/L Cu"}


def test_C15_a_salt_that_is_not_pure_is_weighed_for_more() -> None:
    """5 g/L in 200 L are 1000 g of sodium chloride; of 97 % salt 1000 / 0.97 = 1030.927 g, down to 0.1 g."""
    there = SALTY._replace(scale_step_grams=Decimal("0.1"))
    assert amount("T04", there) == "1000 g"
    assert amount("T04", there, "97 %") == "1030.9 g"


def test_a_powder_of_98_percent_is_weighed_for_more() -> None:
    """2 mg/L in 200 L are 0.4 g; of 98 % powder 0.40816 g, down to 0.408 g."""
    assert amount("Z02", water(kind="marine"), "98 %") == "0.408 g"


def test_the_species_must_be_said_where_the_row_depends_on_it() -> None:
    """Nobody said what swims there: held, and what to do is named."""
    found = hold("K01", water(species=()))
    assert found.rule == "species"
    assert "batch start" in found.remedy


def test_permanganate_is_computed_for_clean_water_with_its_cap() -> None:
    """2 mg/L in 200 L are 0.4 g (IFAS FA-37, 1997, reprint); the course ceiling and four hours stand on the card."""
    assert amount("K01", water()) == "0.4 g"
    assert amount("K01", water(), "99 %") == "0.404 g"


@pytest.mark.parametrize(("ph", "given"), [("6.0", "0.5"), ("6.9", "1"), ("7.0", "2"), ("7.5", "3.6"), ("8.3", "4")])
def test_chloramine_t_takes_the_lower_of_the_row_and_the_table_by_ph(ph: str, given: str) -> None:
    """Row H03, soft water (common practice, original not retrieved): 2.5, 5, 10, 18, 20 mg/L, times 200 L."""
    assert amount("H01", water(reading("ph", ph))) == f"{given} g"


def test_chloramine_t_is_judged_by_the_low_end_of_the_ph_kit() -> None:
    """pH 7.5 read in steps of 0.5 may be 7.25: the row of 7.0, 10 mg/L. Under 6.0, and unread, it is refused."""
    assert amount("H01", water(reading("ph", "7.5", "0.5"))) == "2 g"
    assert hold("H01", water(reading("ph", "5.9"))).figure == "6"
    assert "pH of the water is not known" in hold("H01", water()).says
    assert "not known" in hold("H01", water(reading("ph", "7.5", hours=25))).says


@pytest.mark.parametrize("row", ["P01", "P02", "D01", "D02", "D04", "D06", "K02", "H02", "F04", "C02", "C05"])
def test_trials_instructions_and_refused_rows_stay_held(row: str) -> None:
    """Whatever is known of water, fish and product: no amount without a veterinarian's instruction."""
    there = water(
        reading("ph", "7.5"), reading("temperature", "20"), reading("alkalinity", "100"), reading("hardness", "100"),
        reading("oxygen", "8"), reading("copper", "0", form="free"), kind="marine" if row == "C05" else "fresh",
    )  # fmt: skip
    assert hold(row, there).rule == "tier"


def test_formalin_without_a_batch_counts_any_fish_as_possible() -> None:
    """A fish that is on no list and of which nobody said anything may be fry: 80 uL/L in 200 L are 16 mL."""
    there = water(reading("temperature", "20"), species=("Ignota ignota",))
    assert amount("F01", there, "37 % formaldehyde") == "16 mL"
    assert amount("F01", there._replace(species=GOLDFISH), "37 % formaldehyde") == "20 mL"
