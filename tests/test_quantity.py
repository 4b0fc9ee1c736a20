"""Amounts with units: what is read, what is refused and why, conversion, rounding, and how numbers are written."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.quantity import (
    UNITS,
    Quantity,
    ceil_to,
    decimal_down,
    decimal_up,
    floor_to,
    kind_of,
    of_substance,
    rate_in,
    read,
    read_rate,
    read_with_error,
    show,
    show_significant,
    to,
)

DEFAULT = Quantity(Decimal("0.2"), "cm")
decimals = st.decimals(min_value=0, max_value=10**6, places=6)
steps = st.decimals(min_value="0.001", max_value=100, places=3)


@pytest.mark.parametrize(
    ("text", "kind", "value", "unit"),
    [
        ("2 mg/L", "concentration", "2", "mg/L"),
        ("2mg/l", "concentration", "2", "mg/L"),
        ("2 mg per litre", "concentration", "2", "mg/L"),
        ("150 µg/L", "concentration", "150", "ug/L"),
        ("2 ppm", "concentration", "2", "mg/L"),
        ("0.9 % w/v", "concentration", "0.9", "% w/v"),
        ("29 USgal", "volume", "29", "USgal"),
        ("29 US gallons", "volume", "29", "USgal"),
        ("29 U.S. gal.", "volume", "29", "USgal"),
        ("6 imp gal", "volume", "6", "impgal"),
        ("6 UK gallons", "volume", "6", "impgal"),
        ("54 litres", "volume", "54", "L"),
        ("54 ltr", "volume", "54", "L"),
        ("2 μL", "volume", "2", "uL"),
        ("3 cm³", "volume", "3", "cm3"),
        ("4 US fl oz", "volume", "4", "USfloz"),
        ("78 °F", "temperature", "78", "°F"),
        ("78f", "temperature", "78", "°F"),
        ("25.5C", "temperature", "25.5", "°C"),
        ("25 degC", "temperature", "25", "°C"),
        ("1/2 in", "length", "0.5", "in"),
        ("1 1/2 in", "length", "1.5", "in"),
        ("½ in", "length", "0.5", "in"),
        ('1½"', "length", "1.5", "in"),
        ("12 inches", "length", "12", "in"),
        (".5 g", "mass", "0.5", "g"),
        ("3 grains", "mass", "3", "grain"),
        ("1 lb", "mass", "1", "lb"),
        ("25 µL/L", "volume_ratio", "25", "uL/L"),
        ("4 d", "duration", "4", "d"),
        ("72 hours", "duration", "72", "h"),
        ("2 weeks", "duration", "2", "weeks"),
    ],
)
def test_reads_what_keepers_type(text: str, kind: str, value: str, unit: str) -> None:
    """The spellings that keepers type read as one symbol, with the number exactly as typed."""
    assert read(text, kind) == Quantity(Decimal(value), unit)


@pytest.mark.parametrize("symbol", list(UNITS))
def test_every_symbol_reads_as_itself(symbol: str) -> None:
    """What the tool prints can be typed back."""
    quantity = Quantity(Decimal("1.5"), symbol)
    assert read(str(quantity), quantity.kind) == quantity


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("54", "volume", "has no unit; write one of uL, mL, L"),
        (
            "5 gal",
            "volume",
            r"US gallon \(3.785411784 L, write USgal\) or an imperial gallon \(4.54609 L, write impgal\)",
        ),
        ("5 gallons", "volume", "they differ by 20 %, which is an overdose"),
        ("5 gal.", "volume", "say which"),
        ("2 tsp", "mass", "not a measure: 71 household teaspoons held 2.5 to 7.3 mL"),
        ("2 tablespoons", "volume", "not a measure"),
        ("1 cup", "volume", "not a measure"),
        ("5 drops", "volume", "not a measure: a dropper's drop"),
        ("2 fl oz", "volume", "US .* or imperial"),
        ("1 pint", "volume", "differs between US and imperial"),
        ("5 gr", "mass", "gram .* or a grain"),
        ("25 °", "temperature", "Celsius or Fahrenheit"),
        ("35 ppt", "concentration", "write g/L"),
        ("2 g", "concentration", "is a mass, and a concentration is needed"),
        ("10 oz", "volume", "is a mass, and a volume is needed"),
        ("5 m", "duration", "is a length, and a duration is needed"),
        ("25 ppm", "volume_ratio", "write it in uL/L"),
        ("3 %", "concentration", "% w/v for grams in 100 mL"),
        ("37 % w/w", "concentration", "specific gravity"),
        ("3 %", "volume", "unknown unit '%'"),
        ("5 ML", "volume", "capital M, which means a million; write mL"),
        ("5 Mg/L", "concentration", "write mg/L"),
        ("-1 g", "mass", "below zero"),
        ("−1 g", "mass", "below zero"),
        ("nan g", "mass", "does not begin with a number"),
        ("inf g", "mass", "does not begin with a number"),
        ("g", "mass", "does not begin with a number"),
        ("٣ g", "mass", "does not begin with a number"),
        ("1e3 g", "mass", "exponent"),
        ("1E-3 g", "mass", "exponent"),
        ("1,5 g", "mass", "comma"),
        ("1,500 mg", "mass", "comma"),
        ("1 000 L", "volume", "more than one number"),
        ("1.5.2 g", "mass", "more than one number"),
        ("60x30 cm", "length", "more than one number"),
        ("60 cm ± 1 cm", "length", "more than one number"),
        ("1/0 in", "length", "divides by zero"),
        ("", "mass", "is empty"),
        ("   ", "mass", "is empty"),
        ("5 mgs/kgg", "mass", "unknown unit"),
        ("5 litters", "volume", "nearest is L"),
        ("1" * 30 + " g", "mass", "more digits"),
    ],
)
def test_refuses_with_a_sentence(text: str, kind: str, says: str) -> None:
    """What cannot be read for certain is refused: the sentence names the amount, what was wrong and what to write."""
    with pytest.raises(Refused, match=says) as refusal:
        read(text, kind, "amount of the test")
    assert refusal.value.sentence.startswith("The amount of the test")
    assert refusal.value.sentence.endswith(".")


@settings(deadline=None)
@given(st.text(max_size=30), st.sampled_from(["length", "volume", "mass", "concentration", "temperature", "duration"]))
def test_any_text_reads_or_is_refused(text: str, kind: str) -> None:
    """Whatever is typed, the answer is an amount of the kind or a refusal of one line, never a traceback."""
    sentence = ""
    try:
        quantity = read(text, kind)
    except Refused as refusal:
        sentence, quantity = refusal.sentence, None
    if quantity is None:
        assert sentence.endswith(".")
        assert "\n" not in sentence
    else:
        assert quantity.kind == kind
        assert quantity.value >= 0


@pytest.mark.parametrize(
    ("text", "value", "error"),
    [
        ("60 cm ± 0.5 cm", "60 cm", "0.5 cm"),
        ("60 ± 0.5 cm", "60 cm", "0.5 cm"),
        ("60 cm +- 0.5", "60 cm", "0.5 cm"),
        ("60 cm +/- 5 mm", "60 cm", "5 mm"),
        ("60 cm +/− 5 mm", "60 cm", "5 mm"),
        ("60 cm ± 5 %", "60 cm", "3 cm"),
        ("24 in ± 1/8 in", "24 in", "0.125 in"),
        ("60 cm", "60 cm", "0.2 cm"),
    ],
)
def test_reads_a_plus_minus(text: str, value: str, error: str) -> None:
    """A plus-minus may be typed in several ways; without one the default stands."""
    quantity, spread = read_with_error(text, "length", "length", DEFAULT)
    assert (str(quantity), str(spread)) == (value, error)


def test_a_default_may_be_a_percentage() -> None:
    """A default given in percent is taken of the amount that was typed."""
    quantity, spread = read_with_error("20 USgal", "volume", "sump", Decimal(5))
    assert (str(quantity), str(spread)) == ("20 USgal", "1 USgal")


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("60 ± 1", "length", "has no unit"),
        ("60 ± 5 %", "length", "has no unit"),
        ("60 cm ± 1 ± 2", "length", "more than one ±"),
        ("60 cm ± 1 L", "length", "a length is needed"),
        ("60 cm ±", "length", "is empty"),
        ("60 cm ± -1 cm", "length", "below zero"),
        ("78 °F ± 1 °C", "temperature", "mixes °C and °F"),
    ],
)
def test_refuses_an_unclear_plus_minus(text: str, kind: str, says: str) -> None:
    """A plus-minus that cannot be read for certain is refused."""
    with pytest.raises(Refused, match=says):
        read_with_error(text, kind, "length", DEFAULT)


@pytest.mark.parametrize(
    ("text", "kind"),
    [("5 cm", "length"), ("5 ± 1 kg", "mass"), ("2 L ± 5 %", "volume"), ("5", None), ("5 gal", None), ("", None)],
)
def test_the_kind_of_what_was_typed(text: str, kind: str | None) -> None:
    """The unit says what was measured; nothing is guessed without a known one."""
    assert kind_of(text) == kind


def test_a_difference_of_temperature_has_no_zero() -> None:
    """One degree Celsius is a difference of 1.8 degrees Fahrenheit, and a temperature of 33.8."""
    one = Quantity(Decimal(1), "°C")
    assert to(one, "°F", difference=True) == Decimal("1.8")
    assert to(one, "°F") == Decimal("33.8")


def test_a_conversion_to_another_kind_is_refused() -> None:
    """A mass is never turned into a volume."""
    with pytest.raises(Refused, match="2 g cannot be given in mL"):
        to(Quantity(Decimal(2), "g"), "mL")


@settings(deadline=None)
@given(decimals, st.sampled_from(list(UNITS)), st.sampled_from(list(UNITS)))
def test_conversion_is_exact_or_correctly_rounded(value: Decimal, one: str, other: str) -> None:
    """Every conversion agrees with exact fractions to 33 digits, and exactly where the decimal ends."""
    a, b = UNITS[one], UNITS[other]
    if a.kind != b.kind:
        with pytest.raises(Refused):
            to(Quantity(value, one), other)
        return
    exact = (Fraction(value) - a.zero) * a.factor / b.factor + b.zero
    got = Fraction(to(Quantity(value, one), other))
    assert abs(got - exact) <= abs(exact) / 10**33
    if one == other:
        assert got == exact


@settings(deadline=None)
@given(decimals, steps)
def test_rounding_to_steps(value: Decimal, step: Decimal) -> None:
    """Down is never above, up never below, both are whole steps and less than one step away."""
    down, up = floor_to(value, step), ceil_to(value, step)
    assert down <= value <= up
    assert value - down < step
    assert up - value < step
    assert down % step == 0
    assert up % step == 0


def test_rounding_takes_decimals_only() -> None:
    """A float is refused where a dose is rounded, because it is already rounded."""
    with pytest.raises(TypeError):
        floor_to(1.9, Decimal("0.1"))  # type: ignore[arg-type]
    with pytest.raises(TypeError):
        ceil_to(Decimal("1.9"), 0.1)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="step above zero"):
        floor_to(Decimal(1), Decimal(0))
    with pytest.raises(ValueError, match="finite"):
        floor_to(Decimal("nan"), Decimal(1))


@pytest.mark.parametrize(
    ("value", "places", "up", "text"),
    [
        ("0.50", None, None, "0.5"),
        ("5.00", None, None, "5"),
        ("1E-7", None, None, "0.0000001"),
        ("1E+3", None, None, "1000"),
        ("-0.0", None, None, "0"),
        ("500", None, None, "500"),
        ("2.345", 2, None, "2.34"),
        ("2.355", 2, None, "2.36"),
        ("2.341", 2, True, "2.35"),
        ("2.349", 2, False, "2.34"),
        ("9.999", 2, True, "10"),
        ("123456789012345678901234567890.5", 0, False, "123456789012345678901234567890"),
    ],
)
def test_numbers_are_written_safely(value: str, places: int | None, up: bool | None, text: str) -> None:
    """0.5 never .5, 5 never 5.0, never an exponent, rounded the way that was asked for."""
    assert show(Decimal(value), places, up=up) == text


@pytest.mark.parametrize(
    ("value", "digits", "up", "text"),
    [
        ("1234.5", 2, None, "1200"),
        ("0.0026491", 2, True, "0.0027"),
        ("0.0026491", 2, False, "0.0026"),
        ("0.0996", 2, None, "0.1"),
        ("0", 3, None, "0"),
        ("54.19", 3, None, "54.2"),
    ],
)
def test_significant_digits(value: str, digits: int, up: bool | None, text: str) -> None:
    """A number can be cut to significant digits, down, up or to the nearest."""
    assert show_significant(Decimal(value), digits, up) == text


def test_only_finite_numbers_are_shown() -> None:
    """Nan and infinity are faults of the program, never printed."""
    for wrong in (Decimal("nan"), Decimal("inf")):
        with pytest.raises(ValueError, match="finite"):
            show(wrong)
        with pytest.raises(ValueError, match="finite"):
            show_significant(wrong, 2)
    with pytest.raises(ValueError, match="finite"):
        decimal_up(float("inf"))


@settings(deadline=None)
@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**12), max_value=10**12))
def test_what_is_shown_reads_back(value: Decimal) -> None:
    """Text written without rounding is the same number, without an exponent or trailing zeros."""
    text = show(value)
    assert Decimal(text) == value
    assert "E" not in text.upper()
    assert not ("." in text and text.endswith(("0", ".")))


@settings(deadline=None)
@given(st.floats(min_value=-1e9, max_value=1e9, allow_nan=False))
def test_the_crossing_from_floats_is_outward(x: float) -> None:
    """A lower bound crosses to Decimal at or below itself, an upper at or above, within twelve digits."""
    down, up = decimal_down(x), decimal_up(x)
    assert down <= Decimal(x) <= up
    assert up - down <= abs(Decimal(x)) * Decimal("1e-11")


# --- F17: a label's rate ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("2 mg/L", "mg/L", "2"),
        ("3 ppm", "mg/L", "3"),
        ("0.5 g/L", "mg/L", "500"),
        ("2 mL per litre", "uL/L", "2000"),
        ("1 mL/40 L", "uL/L", "25"),
        ("5 g per 100 L", "mg/L", "50"),
        ("5g/100L", "mg/L", "50"),
        ("5 g in 100 litres of water", "mg/L", "50"),
        ("1/2 g for every 10 L", "mg/L", "50"),
        ("1 1/2 mL to each 30 L", "uL/L", "50"),
        ("0.3 % salt", "g/L", "3"),
        ("0.3 % w/v", "g per 100 mL", "0.3"),
        ("2 oz av per 10 US gallons", "oz av per USgal", "0.2"),
        ("128 US fl oz per 10 USgal", "uL/L", "100000"),
        ("50 mg/kg fish/day", "mg/g fish per day", "0.05"),
        ("50 mg per kg of fish daily", "mg/kg fish/day", "50"),
        ("10 mg per g of food", "g/kg food", "10"),
    ],
)
def test_F17_reads_a_labels_rate(text: str, unit: str, value: str) -> None:
    """So much per so much, however it is written, in any unit that counts the same things."""
    assert rate_in(read_rate(text), unit) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1 tsp", "not a measure: 71 household teaspoons"),
        ("1 tsp per 10 L", "not a measure: 71 household teaspoons"),
        ("2 drops per 10 L", "not a measure: a dropper"),
        ("1 tablet per 40 L", "says nothing of what is in it"),
        ("500 mg per 10 gallons", "they differ by 20 %, which is an overdose; say which"),
        ("5 mg/gal", "they differ by 20 %"),
        ("2 oz per 10 US gallons", "an ounce by weight .* or a fluid ounce"),
        ("2 fl oz per 10 USgal", "could be US"),
        ("10 mg/kg", "per kg of fish or of food"),
        ("3 %", "does not say of what"),
        ("37 % w/w", "specific gravity"),
        ("5 g", "does not say per how much water"),
        ("5 per 100 L", "has no unit"),
        ("5 g per 100", "has no unit"),
        ("5 g per 0 L", "is per nothing"),
        ("5 g per 10 cm", "is a length, and a volume is needed"),
        ("5 cm per 10 L", "is a length, and a mass is needed"),
        ("-5 g per 10 L", "below zero"),
        ("5 g per -10 L", "below zero"),
        ("1,5 g per 10 L", "has a comma"),
        ("1e3 mg per 10 L", "exponent"),
        ("5 Mg per 10 L", "capital M"),
        ("5 g per 10 L per day", "what one dose is"),
        ("5 g per 10 L per 2 L", "unknown unit 'L per 2 L'|more than one number"),
        ("per 10 L", "does not begin with a number"),
        ("", "is empty"),
    ],
)
def test_F17_a_label_that_may_mean_two_things_is_asked_about(text: str, says: str) -> None:
    """A spoon, a tablet, a gallon or an ounce of nobody says which, and a rate without its water, are refused."""
    with pytest.raises(Refused, match=says):
        read_rate(text)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("1 mL/40 L", "mg/L", "the label has to say"),
        ("5 g per 100 L", "mL/L", "the label has to say"),
        ("50 mg/kg fish/day", "mg/g food", "counted by fish/day and the other by food"),
        ("50 mg/kg fish", "mg/L", "counted by fish and the other by water"),
        ("5 g per 100 L", "L", "per how much water"),
        ("5 g per 100 L", " ", "in which unit"),
    ],
)
def test_F17_a_weight_is_never_turned_into_a_volume(text: str, unit: str, says: str) -> None:
    """Nor fish into food, nor food into water: what stands between them is not known."""
    with pytest.raises(Refused, match=says):
        rate_in(read_rate(text), unit)


@pytest.mark.parametrize(
    ("text", "strength", "unit", "value"),
    [
        ("5 g per 100 L", "80 %", "mg/L", "40"),
        ("5 g per 100 L", "12.5 % w/w", "mg/L", "6.25"),
        ("1 mL/40 L", "37 % w/v", "mg/L", "9.25"),
        ("5 mL per 100 L", "10 mg/mL", "mg/L", "0.5"),
    ],
)
def test_F17_the_strength_makes_the_products_rate_the_substances(
    text: str, strength: str, unit: str, value: str
) -> None:
    """A percent by weight of what is weighed; a weight in a volume of what is poured."""
    assert rate_in(of_substance(read_rate(text), strength), unit) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "strength", "says"),
    [
        ("5 g per 100 L", "37 % w/v", "a percent by weight"),
        ("5 g per 100 L", "strong", "a percent by weight"),
        ("5 g per 100 L", "0 %", "not above 0 %"),
        ("5 g per 100 L", "101 %", "not above 0 %"),
        ("1 mL/40 L", "37 %", "a weight in a volume"),
        ("1 mL/40 L", "25 uL/L", "a weight in a volume"),
        ("1 mL/40 L", "10 mg/kg food", "a weight in a volume"),
        ("1 mL/40 L", "strong", "does not begin with a number"),
    ],
)
def test_F17_a_strength_that_does_not_fit_is_refused(text: str, strength: str, says: str) -> None:
    """A liquid's percent by weight needs its specific gravity, so it is asked for as a weight in a volume."""
    with pytest.raises(Refused, match=says):
        of_substance(read_rate(text), strength)


@pytest.mark.parametrize(
    ("text", "kind", "shown"),
    [
        ("5 g per 100 L", "concentration", "50 mg/L"),
        ("1 mL/40 L", "volume_ratio", "25 uL/L"),
        ("0.3 % salt", "concentration", "0.3 % w/v"),
        ("0.1 ounce (avoirdupois) per 100 US gal", "concentration", "7.48915 mg/L"),
        ("1 lb per 100 USgal", "concentration", "1198.26 mg/L"),
    ],
)
def test_F17_a_rate_reads_where_an_amount_of_its_kind_does(text: str, kind: str, shown: str) -> None:
    """A template's target may be a label's rate; what does not end is rounded down to six digits."""
    assert str(read(text, kind)) == shown


def test_F17_a_rate_shows_what_was_read() -> None:
    """So that it can be compared with the label, and read again."""
    shown = [str(read_rate(text)) for text in ("2 ounces (avoirdupois) / 10 US gal", "50 mg/kg fish/day", "3 ppm")]
    assert shown == ["2 oz av per 10 USgal", "50 mg per 1 kg fish a day", "3 mg per 1 L"]
    assert [str(read_rate(text)) for text in shown] == shown


@given(
    st.decimals(min_value="0.001", max_value=999, places=3),
    st.decimals(min_value="0.01", max_value=9999, places=2),
    st.sampled_from(["g", "mg", "oz av", "lb", "grain"]),
    st.sampled_from(["L", "USgal", "impgal", "ft3", "m3"]),
)
def test_F17_every_form_gives_the_same_answer_by_two_paths(
    amount: Decimal, per: Decimal, unit: str, water: str
) -> None:
    """The rate at once, or the weight divided by the litres, each converted alone; and there and back again."""
    rate = read_rate(f"{amount} {unit} per {per} {water}")
    at_once = rate_in(rate, "mg/L")
    apart = to(read(f"{amount} {unit}", "mass"), "mg") / to(read(f"{per} {water}", "volume"), "L")
    assert float(at_once) == pytest.approx(float(apart), rel=1e-14)
    back = rate_in(read_rate(f"{at_once:f} mg/L"), f"{unit} per {per} {water}") if len(f"{at_once:f}") < 20 else amount
    assert float(back) == pytest.approx(float(amount), rel=1e-14)


@settings(deadline=None)
@given(st.text(alphabet="0123456789 ./%gmLkoztalperUSfish", max_size=24))
def test_F17_any_label_reads_or_is_refused(text: str) -> None:
    """Never a traceback, and never a rate below zero."""
    sentence, rate = ".", None
    try:
        rate = read_rate(text)
    except Refused as refusal:
        sentence = refusal.sentence
    assert sentence.endswith((".", "?"))
    assert "\n" not in sentence
    assert rate is None or rate.amount.value >= 0 < rate.per.value
