"""The litres of water really there, with an uncertainty and a working that can be recomputed by hand.

The shape of a tank is kept as a JSON-ready table; every measure is a pair of decimal texts, the value and its
plus-minus::

    {"shape": "box", "length": ["58.8", "0.2"], "width": ["28.8", "0.2"], "filled": ["32", "0.3"],
     "walls": null, "height": null, "substrate": null, "rocks": null, "sump": null, "filter": null}

``length``, ``width`` (box), ``diameter`` (cylinder), ``filled``, ``height`` and ``walls`` are in cm. With
``walls`` the plan measures are outside ones and twice the wall comes off each; ``filled`` is the height of
the water above the inside floor, ``height`` (optional) the inside height of the vessel. ``substrate`` is
{"depth_cm": pair} or {"mass_kg": pair}, ``rocks`` {"mass_kg": pair} or {"litres": pair}; ``sump`` and
``filter`` are the litres that circulate with the tank while it runs. Null or a missing key means there is
none.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from math import hypot, pi
from typing import Any, NamedTuple

from quarantine.failures import Refused, Unknown, Usage
from quarantine.quantity import Quantity, kind_of, read_with_error, show, to

POROSITY = (
    0.279,
    0.424,
)  # of sand, AAPG Bulletin 57:349, 1973 (Beard and Weyl), very poorly to extremely well sorted
SAND_KG_PER_L = 2.65  # of the grain (quartz), from memory
ROCK_KG_PER_L = 2.70  # limestone and granite, from memory
# Our choice: coral sand and dark rocks are denser than these two figures, porous rock is lighter.
DENSITY_PLUS_MINUS = 0.10

# Our choices for a measure typed without its plus-minus.
LENGTH_DEFAULT = Quantity(Decimal("0.2"), "cm")
FILLED_DEFAULT = Quantity(Decimal("0.3"), "cm")
WALLS_DEFAULT = Quantity(Decimal("0.05"), "cm")
PERCENT_DEFAULT = Decimal(5)  # of litres and kilograms
_TOO_LARGE = 10**7  # cm, L or kg: a slip of the keeper


class Measure(NamedTuple):
    """A measured value and its plus-minus, both in the unit its name says (lengths in cm)."""

    value: float
    plus_minus: float


class Volume(NamedTuple):
    """Litres of water, their plus-minus, and the lines from which they can be recomputed by hand."""

    litres: float
    plus_minus_litres: float
    working: tuple[str, ...]


class Shape(NamedTuple):
    """A tank shape: the measures of its plan, the litres at a depth, and the formula as people write it."""

    plan: tuple[str, ...]
    litres: Callable[..., float]
    formula: str


def box_litres(length_cm: float, width_cm: float, depth_cm: float) -> float:
    """Litres in a rectangular tank: length x width x depth / 1000, inside measures in cm above 0 (geometry)."""
    return length_cm * width_cm * depth_cm / 1000


def cylinder_litres(diameter_cm: float, depth_cm: float) -> float:
    """Litres in an upright cylinder: pi x diameter² / 4 x depth / 1000, inside, in cm above 0 (geometry)."""
    return pi * diameter_cm * diameter_cm / 4 * depth_cm / 1000


SHAPES: dict[str, Shape] = {
    "box": Shape(("length", "width"), box_litres, "{length} x {width} x {depth} / 1000"),
    "cylinder": Shape(("diameter",), cylinder_litres, "3.14159265 x {diameter} x {diameter} / 4 x {depth} / 1000"),
}


def net_volume(shape: dict[str, Any]) -> Volume:
    """The water in the tank of a table: its shape less walls, substrate and rocks, plus sump and filter.

    The plus-minus is the root of the sum of squares of what each measure's own plus-minus is worth in
    litres. Raises Refused for a measure that is missing or impossible (water above the rim, substrate above
    the water, walls thicker than the tank, no water left), and when the plus-minus is as large as the
    volume.
    """
    form = _form(shape)
    measures = _measures(shape, form)
    values = {name: measure.value for name, measure in measures.items()}
    _check_possible(form, measures)
    litres = _litres(form, values)
    parts = {name: _worth(form, values, name, measure.plus_minus) for name, measure in measures.items()}
    plus_minus = hypot(*parts.values())
    if litres <= 0:
        raise Refused("The substrate and the rocks take more room than the water; measure them and --filled again.")
    if plus_minus >= litres:
        raise Refused(
            f"The volume is {_n(litres)} L with a plus-minus of {_n(plus_minus)} L, so it is not known; measure"
            " the tank again with a smaller error."
        )
    return Volume(litres, plus_minus, _working(form, values, parts, litres, plus_minus))


def shape_from_text(
    shape: str,
    *,
    length: str | None = None,
    width: str | None = None,
    diameter: str | None = None,
    height: str | None = None,
    filled: str | None = None,
    walls: str | None = None,
    substrate: str | None = None,
    rocks: str | None = None,
    sump: str | None = None,
    filter: str | None = None,
) -> dict[str, Any]:
    """The table of a tank from what a keeper typed, each measure with its unit and perhaps its plus-minus.

    Without a plus-minus a length has 0.2 cm, ``filled`` 0.3 cm, ``walls`` 0.05 cm, litres and kilograms 5 %
    (our choices). ``substrate`` is a depth or a mass, ``rocks`` a mass or a volume. Raises Unknown for a
    shape that is not known, Usage for an option that is missing or does not belong to the shape, Refused
    for a measure that does not read or is impossible.
    """
    name = shape.strip().casefold()
    if name not in SHAPES:
        raise Unknown("tank shape", shape, list(SHAPES))
    plan = {"length": length, "width": width, "diameter": diameter}
    _check_options(name, plan, filled)
    table: dict[str, Any] = {"shape": name}
    for option, text in plan.items():
        if text is not None:
            table[option] = _pair(text, "length", option, "cm", LENGTH_DEFAULT)
    table["filled"] = _pair(filled or "", "length", "filled", "cm", FILLED_DEFAULT)
    table["walls"] = None if walls is None else _pair(walls, "length", "walls", "cm", WALLS_DEFAULT)
    table["height"] = None if height is None else _pair(height, "length", "height", "cm", LENGTH_DEFAULT)
    table["substrate"] = None if substrate is None else _one_of(substrate, "substrate", ("length", "mass"))
    table["rocks"] = None if rocks is None else _one_of(rocks, "rocks", ("mass", "volume"))
    table["sump"] = None if sump is None else _pair(sump, "volume", "sump", "L", PERCENT_DEFAULT)
    table["filter"] = None if filter is None else _pair(filter, "volume", "filter", "L", PERCENT_DEFAULT)
    net_volume(table)
    return table


def label_overdose_percent(label_litres: float, volume: Volume) -> float:
    """By how many percent a dose made for the label volume would be too large (below zero: too small)."""
    return (label_litres / volume.litres - 1) * 100


class _Form(NamedTuple):
    """What a table holds, read: its shape and which parts there are."""

    name: str
    walls: bool
    substrate: str | None
    rocks: str | None
    sump: bool
    filter: bool


def _form(shape: dict[str, Any]) -> _Form:
    name = str(shape.get("shape"))
    if name not in SHAPES:
        raise Unknown("tank shape", name, list(SHAPES))
    return _Form(
        name,
        bool(shape.get("walls")),
        next(iter(shape.get("substrate") or ()), None),
        next(iter(shape.get("rocks") or ()), None),
        bool(shape.get("sump")),
        bool(shape.get("filter")),
    )


def _measures(shape: dict[str, Any], form: _Form) -> dict[str, Measure]:
    """Every number the volume depends on, by name, with its plus-minus."""
    found = {name: _measure(shape, name) for name in (*SHAPES[form.name].plan, "filled")}
    found.update({name: _measure(shape, name) for name in ("walls", "height", "sump", "filter") if shape.get(name)})
    if form.substrate:
        found["substrate"] = _measure(shape["substrate"], form.substrate, "substrate", ("depth_cm", "mass_kg"))
        if form.substrate == "depth_cm":
            low, high = POROSITY
            found["porosity"] = Measure((low + high) / 2, (high - low) / 2)
        else:
            found["sand density"] = Measure(SAND_KG_PER_L, SAND_KG_PER_L * DENSITY_PLUS_MINUS)
    if form.rocks:
        found["rocks"] = _measure(shape["rocks"], form.rocks, "rocks", ("mass_kg", "litres"))
        if form.rocks == "mass_kg":
            found["rock density"] = Measure(ROCK_KG_PER_L, ROCK_KG_PER_L * DENSITY_PLUS_MINUS)
    return found


def _measure(table: dict[str, Any], key: str, what: str | None = None, known: tuple[str, ...] | None = None) -> Measure:
    what = what or key
    if known and key not in known:
        raise Refused(f"The {what} of the tank is kept as {key!r}; use one of {', '.join(known)}.")
    pair = table.get(key) if isinstance(table, dict) else None
    try:
        if not isinstance(pair, list | tuple):  # a text of two digits would unpack as well
            raise ValueError
        value, plus_minus = (Decimal(text) for text in pair)
    except (TypeError, ValueError, InvalidOperation):
        raise Refused(f"The tank has no {what} that can be read; give --{what} with its unit.") from None
    if not (value.is_finite() and plus_minus.is_finite() and 0 < value < _TOO_LARGE and 0 <= plus_minus < _TOO_LARGE):
        raise Refused(
            f"The {what} of the tank must be above zero and no larger than a pond, with a plus-minus of zero or"
            f" more; measure it again and give --{what}."
        )
    return Measure(float(value), float(plus_minus))


def _check_possible(form: _Form, measures: dict[str, Measure]) -> None:
    filled = measures["filled"].value
    if "height" in measures and filled > measures["height"].value:
        raise Refused(
            f"The water stands {_n(filled)} cm high and the tank is {_n(measures['height'].value)} cm high inside;"
            " measure --filled and --height again."
        )
    if form.substrate == "depth_cm" and measures["substrate"].value >= filled:
        raise Refused(
            f"The substrate is {_n(measures['substrate'].value)} cm deep and the water only {_n(filled)} cm; measure"
            " --substrate and --filled again."
        )
    for name in SHAPES[form.name].plan:
        if form.walls and measures[name].value <= 2 * measures["walls"].value:
            raise Refused(
                f"The walls leave nothing of the {name} of {_n(measures[name].value)} cm; measure --walls again."
            )


def _inside(form: _Form, values: dict[str, float]) -> dict[str, float]:
    off = 2 * values["walls"] if form.walls else 0.0
    return {name: values[name] - off for name in SHAPES[form.name].plan}


def _substrate_litres(form: _Form, values: dict[str, float]) -> float:
    """What the grains displace: bed x (1 - porosity), or mass / grain density whatever the porosity."""
    if form.substrate == "depth_cm":
        bed = SHAPES[form.name].litres(*_inside(form, values).values(), values["substrate"])
        return bed * (1 - values["porosity"])
    return values["substrate"] / values["sand density"] if form.substrate else 0.0


def _rocks_litres(form: _Form, values: dict[str, float]) -> float:
    if form.rocks == "mass_kg":
        return values["rocks"] / values["rock density"]
    return values["rocks"] if form.rocks else 0.0


def _litres(form: _Form, values: dict[str, float]) -> float:
    filled = SHAPES[form.name].litres(*_inside(form, values).values(), values["filled"])
    solids = _substrate_litres(form, values) + _rocks_litres(form, values)
    return filled - solids + values.get("sump", 0.0) + values.get("filter", 0.0)


def _worth(form: _Form, values: dict[str, float], name: str, plus_minus: float) -> float:
    """Litres that the plus-minus of one measure is worth: half the difference between both its ends."""
    ends = [_litres(form, {**values, name: values[name] + shift}) for shift in (plus_minus, -plus_minus)]
    return abs(ends[0] - ends[1]) / 2


def _working(
    form: _Form, values: dict[str, float], parts: dict[str, float], litres: float, plus_minus: float
) -> tuple[str, ...]:
    shape, inside = SHAPES[form.name], _inside(form, values)
    cm = {name: f"{_n(value)} cm" for name, value in inside.items()}
    lines = []
    if form.walls:
        wall = _n(values["walls"])
        lines += [f"inside {n}: {_n(values[n])} cm - 2 x {wall} cm = {cm[n]}" for n in shape.plan]
    gross = shape.litres(*inside.values(), values["filled"])
    formula = shape.formula.format(**cm, depth=f"{_n(values['filled'])} cm")
    lines.append(f"filled: {formula} = {_n(gross)} L")
    sum_of = [_n(gross)]
    if form.substrate:
        lines.append(_substrate_line(form, values, cm))
        sum_of.append(f"- {_n(_substrate_litres(form, values))}")
    if form.rocks:
        taken = _n(_rocks_litres(form, values))
        if form.rocks == "mass_kg":
            lines.append(f"rocks: {_n(values['rocks'])} kg / {_n(ROCK_KG_PER_L)} kg/L (from memory) = {taken} L")
        sum_of.append(f"- {taken}")
    sum_of += [f"+ {_n(values[name])}" for name in ("sump", "filter") if name in values]
    lines.append(f"water: {' '.join(sum_of)} = {_n(litres)} L")
    worth = ", ".join(f"{name} {_n(part)}" for name, part in parts.items() if part > 0)
    lines.append(f"plus-minus: root of the sum of squares of {worth or '0'} = {_n(plus_minus)} L")
    return tuple(lines)


def _substrate_line(form: _Form, values: dict[str, float], cm: dict[str, str]) -> str:
    taken = _n(_substrate_litres(form, values))
    if form.substrate == "mass_kg":
        density = _n(SAND_KG_PER_L)
        return f"substrate: {_n(values['substrate'])} kg / {density} kg/L (from memory) = {taken} L"
    low, high = POROSITY
    formula = SHAPES[form.name].formula.format(**cm, depth=f"{_n(values['substrate'])} cm")
    return (
        f"substrate: {formula} x (1 - {_n(values['porosity'])}) = {taken} L"
        f" (porosity {_n(low)} to {_n(high)}: AAPG Bulletin 57:349, 1973)"
    )


def _n(number: float) -> str:
    """For the working: at most four decimals."""
    return show(Decimal(repr(number)), 4)


def _check_options(name: str, plan: dict[str, str | None], filled: str | None) -> None:
    wanted = SHAPES[name].plan
    belong = ", ".join(f"--{option}" for option in (*wanted, "filled"))
    for option, text in plan.items():
        if text is not None and option not in wanted:
            raise Usage(f"--{option} does not belong to a {name}; a {name} has {belong}.")
    missing = [option for option, text in {**plan, "filled": filled}.items() if not text]
    missing = [f"--{option}" for option in missing if option in (*wanted, "filled")]
    if missing:
        raise Usage(f"A {name} needs {belong}; missing: {', '.join(missing)}.")


def _pair(text: str, kind: str, option: str, unit: str, default: Quantity | Decimal) -> list[str]:
    value, plus_minus = read_with_error(text, kind, f"--{option}", default)
    return [show(to(value, unit)), show(to(plus_minus, unit, difference=True))]


def _one_of(text: str, option: str, kinds: tuple[str, ...]) -> dict[str, list[str]]:
    """A measure that may be of two kinds; one that is neither is refused as the second, and the first is named."""
    kind = kind_of(text)
    if kind not in kinds:
        other = {"length": "a depth", "mass": "a mass"}[kinds[0]]
        option, kind = f"{option} (or {other})", kinds[1]
    key, unit = {"length": ("depth_cm", "cm"), "mass": ("mass_kg", "kg"), "volume": ("litres", "L")}[kind]
    return {key: _pair(text, kind, option, unit, LENGTH_DEFAULT if kind == "length" else PERCENT_DEFAULT)}
