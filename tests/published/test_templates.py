"""The figures of the shipped templates against the sources they name, written down apart from the templates."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from quarantine import formulary
from quarantine.facts import Condition
from quarantine.protocol import Duration, Protocol, Step, load, shipped

WATCH = ("fresh-watch", "marine-watch")
ALL = (*WATCH, "marine-praziquantel")


def _step(protocol: Protocol, name: str) -> Step:
    return next(step for step in protocol.steps if step.id == name)


def _condition(conditions: tuple[Condition, ...], kind: str, value: object = None) -> Condition:
    return next(one for one in conditions if one.kind == kind and value in (None, one.value))


def test_three_templates_ship() -> None:
    """The templates that ship are known by name, and each file is named after its id."""
    assert {name: load(name).id for name in shipped()} == {name: name for name in ALL}


@pytest.mark.parametrize("name", ALL)
def test_observation_is_thirty_days(name: str) -> None:
    """30 days or more in 95 % of 42 institutions.

    J Zoo Wildl Med 42(4):641-650, Fish quarantine: current practices in public zoos and aquaria, 2011. Whole days.
    """
    protocol = load(name)
    assert [period.length for period in protocol.periods] == [Duration(30, "d")]
    assert "S1" in protocol.periods[0].references
    assert "42(4):641-650" in protocol.references["S1"].cite
    assert protocol.references["S1"].status == "read"


@pytest.mark.parametrize("name", ALL)
def test_fish_added_start_the_clock_again(name: str) -> None:
    """Fish that share a system are released only when the last to enter has completed its period.

    DAFF Australia, Import industry advice 41-2025, 2025.
    """
    protocol = load(name)
    assert protocol.events["fish_added"] == "restart"
    assert protocol.periods[0].start.kind == "entered"


@pytest.mark.parametrize("name", ALL)
def test_a_look_is_planned_every_day_and_food_from_the_day_after_arrival(name: str) -> None:
    """Daily look: veterinarian-written page for pet keepers, The new kid in the tank, year not stated.

    No food on the day of arrival: common practice, no source.
    """
    protocol = load(name)
    look, feed = _step(protocol, "look"), _step(protocol, "feed")
    assert look.start.by == Duration(0, "d")
    assert feed.start.by == Duration(1, "d")
    for step in (look, feed):
        assert step.repeat is not None
        assert (step.repeat.every, step.repeat.until) == (Duration(1, "d"), "observation")


@pytest.mark.parametrize("name", WATCH)
def test_ammonia_and_nitrite_are_tested_daily_for_fourteen_days_and_then_weekly(name: str) -> None:
    """Daily for the first 14 days in a quarantine tank: common practice, no source; weekly after it."""
    protocol = load(name)
    daily, weekly = _step(protocol, "tests-daily").repeat, _step(protocol, "tests-weekly").repeat
    assert daily is not None
    assert weekly is not None
    assert (daily.every, daily.times) == (Duration(1, "d"), 14)
    assert weekly.every == Duration(7, "d")
    assert protocol.references["daily-tests"].status == "common practice"


def test_ammonia_and_nitrite_are_tested_daily_while_there_is_medicine() -> None:
    """Daily on any medication: common practice, no source. Here for the whole stay."""
    repeat = _step(load("marine-praziquantel"), "tests").repeat
    assert repeat is not None
    assert (repeat.every, repeat.until) == (Duration(1, "d"), "observation")


@pytest.mark.parametrize("name", ALL)
def test_un_ionized_ammonia_is_limited_to_where_harm_begins(name: str) -> None:
    """0.05 mg/L. Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996, read in a copy; last digit 0.01."""
    protocol = load(name)
    limit = _condition(protocol.criteria, "reading", "uia")
    assert (limit.high, limit.unit) == ("0.05", "mg/L")
    assert 24 <= (limit.within_hours or 0) <= 72
    assert "FA16/FA031" in protocol.references[limit.reference].cite


@pytest.mark.parametrize(("name", "limit"), [("fresh-watch", "0.2"), ("marine-watch", "0.125"), (ALL[2], "0.125")])
def test_nitrite_is_limited_by_the_trade_guidance(name: str, limit: str) -> None:
    """0.2 mg/L in fresh and 0.125 mg/L in sea water, as nitrite.

    Defra, Selling animals as pets licensing, statutory guidance, 2024: from memory.
    """
    protocol = load(name)
    found = _condition(protocol.criteria, "reading", "nitrite")
    assert (found.high, found.unit) == (limit, "mg/L")
    assert protocol.references[found.reference].status == "from memory"


@pytest.mark.parametrize("name", ALL)
def test_what_no_source_states_is_called_common_practice(name: str) -> None:
    """14 clear days, 14 days since a death, 7 days of feeding, 25 % a week: common practice, no source."""
    protocol = load(name)
    expected = {"clear_days": 14, "days_since_death": 14, "feeding_days": 7}
    for kind, days in expected.items():
        found = _condition(protocol.criteria, kind)
        assert found.value == days
        assert protocol.references[found.reference].status == "common practice"
    change = _step(protocol, "weekly-change")
    assert change.fraction == Decimal(25)
    assert change.references == ("weekly-change",)


@pytest.mark.parametrize("name", ALL)
def test_no_source_is_claimed_for_a_choice(name: str) -> None:
    """A citation says "common practice" or "from memory" exactly where its status does."""
    for reference in load(name).references.values():
        if reference.status in ("common practice", "from memory") and "Defra" not in reference.cite:
            assert reference.status in reference.cite


def test_praziquantel_is_given_twice_four_days_apart() -> None:
    """2 mg/L, twice, 4 days apart, counted from the dose really given; sea water.

    Rev. Bras. Parasitol. Vet., Neobenedenia melleni in ornamental reef fish imported to Brazil,
    doi 10.1590/S1984-296120180076, 2019 (abstract). Whole days; 2 mg/L has no decimals.
    """
    protocol = load("marine-praziquantel")
    dose = _step(protocol, "dose")
    assert dose.repeat is not None
    assert dose.treatment is not None
    assert (dose.repeat.every, dose.repeat.times, dose.repeat.from_) == (Duration(4, "d"), 2, "given")
    substance, row = formulary.regimen(dose.treatment.regimen)
    assert (substance.id, row.id, row.tier) == ("praziquantel", "Z01", "ready")
    assert row.target is not None
    assert row.target.default is not None
    assert (row.target.default.value, row.target.default.unit) == (Decimal(2), "mg/L")
    assert dose.treatment.target is None
    assert protocol.water == "marine"


def test_carbon_uv_and_ozone_are_off_for_the_bath_and_come_back_after_clearing() -> None:
    """They cut or destroy a bath.

    Veterinary text on routes of administration in fish, a book page without a title; the skimmer is from memory.
    """
    protocol = load("marine-praziquantel")
    dose, back = _step(protocol, "dose"), _step(protocol, "put-back")
    assert dose.treatment is not None
    assert set(dose.treatment.off) == {"carbon", "uv", "ozone", "skimmer"}
    assert dose.treatment.filter == "running"
    assert (back.kind, back.start.kind, back.start.subject) == ("chore", "after", "clear-water")


def test_temperature_before_a_dose_is_that_of_reef_fish() -> None:
    """22 to 28 °C. Wiley, Clinical Guide to Fish Medicine, ISBN 9781119259848, water-quality pages; whole degrees."""
    steady = _condition(_step(load("marine-praziquantel"), "dose").before, "steady", "temperature")
    assert (steady.low, steady.high, steady.unit, steady.within_hours) == ("22", "28", "°C", 24)


def test_six_half_changes_clear_two_full_doses_and_five_do_not() -> None:
    """The part left is (1 - f)^n, exactly; two doses of 2 mg/L with 5 % of volume error are 4.2 mg/L at most.

    Arithmetic of dilution; the limit, 5 % of the 2 mg/L target, is rule A9 of this project.
    """
    protocol = load("marine-praziquantel")
    clear = _step(protocol, "clear-water")
    assert clear.repeat is not None
    assert clear.fraction is not None
    left = 1 - Fraction(clear.fraction) / 100
    assert left == Fraction(1, 2)
    upper, limit = Fraction(42, 10), Fraction(5, 100) * 2
    assert upper * left**clear.repeat.times <= limit < upper * left ** (clear.repeat.times - 1)  # type: ignore[operator]
    assert _condition(protocol.criteria, "level").share == "5 %"


def test_all_is_over_within_thirty_days_where_all_goes_well() -> None:
    """Doses on days 3 and 7, clearing on days 10 to 15, without medicine for 14 days until day 29.

    14 days without medicine: common practice, no source (a trade scheme).
    """
    protocol = load("marine-praziquantel")
    dose, clear = _step(protocol, "dose"), _step(protocol, "clear-water")
    assert dose.repeat is not None
    assert dose.repeat.every is not None
    assert clear.repeat is not None
    assert clear.repeat.every is not None
    first = dose.start.by.value
    second = first + dose.repeat.every.value
    begun = second + clear.start.by.value
    ended = begun + (clear.repeat.times or 0) * clear.repeat.every.value - 1
    free = ended + int(_condition(protocol.criteria, "days_since_dose").value)
    assert (first, second, begun, ended, free) == (3, 7, 10, 15, 29)
    assert free < protocol.periods[0].length.value
    routine = _step(protocol, "weekly-change").start
    assert (routine.kind, routine.subject) == ("after", "clear-water")


def test_the_medicated_template_says_what_the_source_does_not() -> None:
    """The length of each bath is not stated in the source: clearing is called the template's choice (rule C5)."""
    protocol = load("marine-praziquantel")
    dose = _step(protocol, "dose")
    assert dose.treatment is not None
    assert "choice of this template" in dose.treatment.clearing
    assert protocol.references["clearing"].status == "common practice"
    assert protocol.medicated
    assert len(protocol.cautions) >= 5
    assert not any(load(name).medicated for name in WATCH)
