"""The litres of water really there, with an uncertainty and a working that can be recomputed by hand.

The shape of a tank is kept as a JSON-ready table; every measure is a pair of decimal texts, the value and its
plus-minus::

    {"shape": "box", "length": ["58.8", "0.2"], "width": ["28.8", "0.2"], "filled": ["32", "0.3"],
     "walls": null, "height": null, "substrate": null, "rocks": null, "sump": null, "filter": null}

The measures of the plan (``SHAPES`` names them), ``filled``, ``height`` and ``walls`` are in cm, ``area`` in cm2.
With ``walls`` the plan measures are outside ones and twice the wall comes off each; shapes for which that is not
exact are measured inside. ``filled`` is the height of the water above the lowest point of the inside floor (the
mark), ``height`` the inside height of the vessel. A pond has ``soundings``, a list of transects of depths in cm,
instead of lengths; its ``filled`` is the deepest of them. ``substrate`` is {"depth_cm": pair} or {"mass_kg": pair},
``rocks`` {"mass_kg": pair} or {"litres": pair}; ``sump`` and ``filter`` are the litres that circulate with the tank
while it runs. Null or a missing key means there is none.

The formulas are geometry. Where a law of its own is used (prismatoid, circular segment, mean of soundings) the
function names it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from math import acos, hypot, pi, sqrt
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
SOUNDING_DEFAULT = Quantity(Decimal(1), "cm")
PERCENT_DEFAULT = Decimal(5)  # of litres, kilograms and areas
_TOO_LARGE = 10**7  # cm, L or kg: a slip of the keeper
_TOO_LARGE_CM2 = 10**10


class Measure(NamedTuple):
    """A measured value and its plus-minus, both in the unit its name says (lengths in cm)."""

    value: float
    plus_minus: float


class Volume(NamedTuple):
    """Litres of water, their plus-minus, and the lines from which they can be recomputed by hand."""

    litres: float
    plus_minus_litres: float
    working: tuple[str, ...]


class Step(NamedTuple):
    """A figure on the way to the litres: its name, its value in cm (of the arguments of ``litres``), its formula."""

    name: str
    value: Callable[..., float]
    formula: str


def _no_limit(measures: dict[str, Measure]) -> str:
    return ""


class Shape(NamedTuple):
    """A tank shape: one row.

    ``plan`` names the measures in the order in which ``litres`` takes them, before the depth of the water;
    ``formula`` is what people write, with ``steps`` before it and ``note`` behind it. ``walls``: outside measures
    can be used, because twice the wall off each measure of the plan is exact. ``limit`` gives the sentence that
    refuses what the formula does not cover (inside measures), or "". ``sounded``: the depths of soundings come
    before the plan, and ``filled`` is read from them.
    """

    plan: tuple[str, ...]
    litres: Callable[..., float]
    formula: str
    steps: tuple[Step, ...] = ()
    note: str = ""
    walls: bool = False
    limit: Callable[[dict[str, Measure]], str] = _no_limit
    sounded: bool = False


def box_litres(length_cm: float, width_cm: float, depth_cm: float) -> float:
    """Litres in a rectangular tank: length x width x depth / 1000, inside measures in cm above 0 (geometry)."""
    return length_cm * width_cm * depth_cm / 1000


def cylinder_litres(diameter_cm: float, depth_cm: float) -> float:
    """Litres in an upright cylinder: pi x diameter² / 4 x depth / 1000, inside, in cm above 0 (geometry)."""
    return pi * diameter_cm * diameter_cm / 4 * depth_cm / 1000


def lying_cylinder_litres(diameter_cm: float, length_cm: float, depth_cm: float) -> float:
    """Litres in a cylinder on its side: length x (r² acos((r - h) / r) - (r - h) sqrt(2 r h - h²)) / 1000.

    Inside, in cm; 0 < depth <= diameter, and what is beyond counts as full (circular segment, geometry).
    """
    radius, depth = diameter_cm / 2, min(max(depth_cm, 0.0), diameter_cm)
    half_width = sqrt(max(0.0, 2 * radius * depth - depth * depth))
    return length_cm * (radius * radius * acos(1 - depth / radius) - (radius - depth) * half_width) / 1000


def hexagon_litres(width_cm: float, depth_cm: float) -> float:
    """Litres in a regular hexagon: sqrt(3) / 2 x width² x depth / 1000, inside, in cm above 0 (geometry).

    ``width_cm`` is from a flat side to the opposite one: the length of a side x sqrt(3).
    """
    return sqrt(3) / 2 * width_cm * width_cm * depth_cm / 1000


def quarter_round_litres(radius_cm: float, depth_cm: float) -> float:
    """Litres in a quarter circle: pi x radius² / 4 x depth / 1000, inside, in cm above 0 (geometry)."""
    return pi * radius_cm * radius_cm / 4 * depth_cm / 1000


def bow_radius_cm(chord_cm: float, rise_cm: float) -> float:
    """The radius of the circle through both ends and the top of a bow: (chord² / 4 + rise²) / (2 x rise), cm > 0."""
    return (chord_cm * chord_cm / 4 + rise_cm * rise_cm) / (2 * rise_cm)


def segment_cm2(chord_cm: float, rise_cm: float) -> float:
    """The area between a bow and its chord: R² acos((R - s) / R) - (R - s) x chord / 2, cm2 (circular segment).

    Chord above 0 cm; without a rise there is no area.
    """
    if rise_cm <= 0:
        return 0.0
    radius = bow_radius_cm(chord_cm, rise_cm)
    return radius * radius * acos((radius - rise_cm) / radius) - (radius - rise_cm) * chord_cm / 2


def half_moon_litres(width_cm: float, centre_depth_cm: float, depth_cm: float) -> float:
    """Litres in a half moon: the circular segment on its straight back x depth / 1000.

    Inside, in cm; 0 < centre depth <= half the width, where it is half a circle: pi x r² x depth / 2 (geometry).
    """
    return segment_cm2(width_cm, centre_depth_cm) * depth_cm / 1000


def bow_front_litres(width_cm: float, side_depth_cm: float, centre_depth_cm: float, depth_cm: float) -> float:
    """Litres in a bow front: (width x side depth + circular segment) x depth / 1000.

    Inside, in cm; the segment rises by centre depth - side depth, 0 < rise <= half the width (geometry).
    """
    bow = segment_cm2(width_cm, centre_depth_cm - side_depth_cm)
    return (width_cm * side_depth_cm + bow) * depth_cm / 1000


def cut_corner_litres(
    length_cm: float, width_cm: float, cut_length_cm: float, cut_width_cm: float, depth_cm: float
) -> float:
    """Litres in a box with one corner cut off: (length x width - the triangle cut off) x depth / 1000.

    Inside, in cm; each cut is above 0 and no longer than its side (geometry).
    """
    return (length_cm * width_cm - cut_length_cm * cut_width_cm / 2) * depth_cm / 1000


def _at_water(bottom_cm: float, top_cm: float, height_cm: float, depth_cm: float) -> float:
    """A measure of straight sloping walls at the water line, in cm."""
    return bottom_cm + (top_cm - bottom_cm) * depth_cm / height_cm


def truncated_cone_litres(
    bottom_diameter_cm: float, top_diameter_cm: float, height_cm: float, depth_cm: float
) -> float:
    """Litres in a bucket: pi x depth x (d1² + d1 d2 + d2²) / 12 / 1000, d2 at the water line (frustum, geometry).

    Inside, in cm above 0; the top diameter is that at ``height_cm``, and depth <= height.
    """
    water = _at_water(bottom_diameter_cm, top_diameter_cm, height_cm, depth_cm)
    squares = bottom_diameter_cm * bottom_diameter_cm + bottom_diameter_cm * water + water * water
    return pi * depth_cm * squares / 12 / 1000


def tapered_tub_litres(
    bottom_length_cm: float,
    bottom_width_cm: float,
    top_length_cm: float,
    top_width_cm: float,
    height_cm: float,
    depth_cm: float,
) -> float:
    """Litres in a rectangular tub with sloping walls: depth / 6 x (A1 + A2 + 4 Am) / 1000 (prismatoid, geometry).

    A2 is the area at the water line and Am that at half its height. Inside, in cm above 0; the top measures are
    those at ``height_cm``, and depth <= height.
    """
    length = _at_water(bottom_length_cm, top_length_cm, height_cm, depth_cm)
    width = _at_water(bottom_width_cm, top_width_cm, height_cm, depth_cm)
    four_middles = (bottom_length_cm + length) * (bottom_width_cm + width)
    return depth_cm * (bottom_length_cm * bottom_width_cm + length * width + four_middles) / 6 / 1000


def sloping_ellipse_litres(
    bottom_length_cm: float,
    bottom_width_cm: float,
    top_length_cm: float,
    top_width_cm: float,
    height_cm: float,
    depth_cm: float,
) -> float:
    """Litres in an elliptic pond with sloping walls: pi / 4 of the tapered tub around it (prismatoid, geometry).

    Whole axes, not half ones; inside, in cm above 0, the top ones at ``height_cm``, and depth <= height.
    """
    around = (bottom_length_cm, bottom_width_cm, top_length_cm, top_width_cm, height_cm, depth_cm)
    return pi / 4 * tapered_tub_litres(*around)


def spherical_bowl_litres(diameter_cm: float, depth_cm: float) -> float:
    """Litres in a round bowl: pi x depth² x (3 R - depth) / 3 / 1000 (spherical cap, geometry).

    ``diameter_cm`` is the widest, inside; 0 < depth <= diameter, and what is beyond counts as full.
    """
    depth = min(max(depth_cm, 0.0), diameter_cm)
    return pi * depth * depth * (3 * diameter_cm / 2 - depth) / 3 / 1000


def pond_depths_cm(soundings_cm: tuple[float, ...], depth_cm: float) -> list[float]:
    """The soundings with the water ``depth_cm`` above the deepest point: each moves with it, and none is below 0."""
    moved = depth_cm - max(soundings_cm)
    return [max(0.0, sounding + moved) for sounding in soundings_cm]


def pond_mean_cm(soundings_cm: tuple[float, ...], depth_cm: float) -> float:
    """The mean depth of a pond with the water ``depth_cm`` above its deepest point, cm.

    The mean counts the zero at both banks of every line of soundings (Texas Cooperative Extension, slides on
    measuring a pond, undated). Water above the soundings is not covered.
    """
    return sum(pond_depths_cm(soundings_cm, depth_cm)) / len(soundings_cm)


def pond_litres(soundings_cm: tuple[float, ...], area_cm2: float, depth_cm: float) -> float:
    """Litres in an irregular pond: the surface at which it was sounded (cm2) x ``pond_mean_cm`` / 1000."""
    return area_cm2 * pond_mean_cm(soundings_cm, depth_cm) / 1000


def sampling_cm(soundings_cm: tuple[float, ...]) -> float:
    """What the mean of two or more soundings may miss, cm: their spread / sqrt(n) (our choice, no source)."""
    mean = sum(soundings_cm) / len(soundings_cm)
    return sqrt(sum((s - mean) ** 2 for s in soundings_cm) / (len(soundings_cm) - 1) / len(soundings_cm))


def _in_the_round(measures: dict[str, Measure]) -> str:
    filled, diameter = measures["filled"].value, measures["diameter"].value
    if filled <= diameter:
        return ""
    return (
        f"The water stands {_n(filled)} cm high and the inside is {_n(diameter)} cm in diameter; measure --filled"
        " and --diameter again."
    )


def _half_at_most(measures: dict[str, Measure]) -> str:
    width, deep = measures["width"], measures["centre_depth"]
    if deep.value - deep.plus_minus <= (width.value + width.plus_minus) / 2:
        return ""
    return (
        f"A half moon is at most half as deep as it is wide, and {_n(deep.value)} cm is more than half of"
        f" {_n(width.value)} cm; measure --width and --centre-depth again."
    )


def _bowed(measures: dict[str, Measure]) -> str:
    width, side, centre = (measures[name].value for name in ("width", "side_depth", "centre_depth"))
    if side >= centre:
        return (
            f"A bow front is deeper in the middle: --centre-depth {_n(centre)} cm is not more than --side-depth"
            f" {_n(side)} cm; measure both again (if they are alike, it is a box)."
        )
    if centre - side > width / 2:
        return (
            f"The bow comes {_n(centre - side)} cm forward, more than half of the {_n(width)} cm width; measure"
            " --width, --side-depth and --centre-depth again."
        )
    return ""


def _cut_in_the_box(measures: dict[str, Measure]) -> str:
    for side in ("length", "width"):
        cut, whole = measures[f"cut_{side}"].value, measures[side].value
        if cut > whole:
            return (
                f"The cut takes {_n(cut)} cm off a {side} of {_n(whole)} cm; measure --cut-{side} and --{side} again."
            )
    return ""


_BOW = "{radius} x {radius} x acos(({radius} - {rise}) / {radius}) - ({radius} - {rise}) x {width} / 2"
_SLOPES = (
    "({bottom_length} x {bottom_width} + {water_length} x {water_width}"
    " + ({bottom_length} + {water_length}) x ({bottom_width} + {water_width}))"
)
_SLOPED_PLAN = ("bottom_length", "bottom_width", "top_length", "top_width", "height")
_SLOPED_STEPS = (
    Step(
        "water_length",
        lambda bl, bw, tl, tw, height, depth: _at_water(bl, tl, height, depth),
        "{bottom_length} + ({top_length} - {bottom_length}) x {depth} / {height}",
    ),
    Step(
        "water_width",
        lambda bl, bw, tl, tw, height, depth: _at_water(bw, tw, height, depth),
        "{bottom_width} + ({top_width} - {bottom_width}) x {depth} / {height}",
    ),
)

SHAPES: dict[str, Shape] = {
    "box": Shape(("length", "width"), box_litres, "{length} x {width} x {depth} / 1000", walls=True),
    "cylinder": Shape(
        ("diameter",), cylinder_litres, "3.14159265 x {diameter} x {diameter} / 4 x {depth} / 1000", walls=True
    ),
    "lying-cylinder": Shape(
        ("diameter", "length"),
        lying_cylinder_litres,
        "{length} x ({radius} x {radius} x acos(({radius} - {depth}) / {radius})"
        " - ({radius} - {depth}) x sqrt(2 x {radius} x {depth} - {depth} x {depth})) / 1000",
        steps=(Step("radius", lambda diameter, length, depth: diameter / 2, "{diameter} / 2"),),
        note="acos in radians",
        walls=True,
        limit=_in_the_round,
    ),
    "hexagon": Shape(("width",), hexagon_litres, "0.8660254 x {width} x {width} x {depth} / 1000", walls=True),
    "quarter-round": Shape(("radius",), quarter_round_litres, "3.14159265 x {radius} x {radius} / 4 x {depth} / 1000"),
    "half-moon": Shape(
        ("width", "centre_depth"),
        half_moon_litres,
        "{depth} x (" + _BOW.replace("{rise}", "{centre_depth}") + ") / 1000",
        steps=(
            Step(
                "radius",
                lambda width, deep, depth: bow_radius_cm(width, deep),
                "({width} x {width} / 4 + {centre_depth} x {centre_depth}) / (2 x {centre_depth})",
            ),
        ),
        note="acos in radians",
        limit=_half_at_most,
    ),
    "bow-front": Shape(
        ("width", "side_depth", "centre_depth"),
        bow_front_litres,
        "{depth} x ({width} x {side_depth} + " + _BOW + ") / 1000",
        steps=(
            Step("rise", lambda width, side, centre, depth: centre - side, "{centre_depth} - {side_depth}"),
            Step(
                "radius",
                lambda width, side, centre, depth: bow_radius_cm(width, centre - side),
                "({width} x {width} / 4 + {rise} x {rise}) / (2 x {rise})",
            ),
        ),
        note="acos in radians",
        limit=_bowed,
    ),
    "cut-corner": Shape(
        ("length", "width", "cut_length", "cut_width"),
        cut_corner_litres,
        "{depth} x ({length} x {width} - {cut_length} x {cut_width} / 2) / 1000",
        limit=_cut_in_the_box,
    ),
    "truncated-cone": Shape(
        ("bottom_diameter", "top_diameter", "height"),
        truncated_cone_litres,
        "3.14159265 x {depth} x ({bottom_diameter} x {bottom_diameter} + {bottom_diameter} x {water_diameter}"
        " + {water_diameter} x {water_diameter}) / 12 / 1000",
        steps=(
            Step(
                "water_diameter",
                _at_water,
                "{bottom_diameter} + ({top_diameter} - {bottom_diameter}) x {depth} / {height}",
            ),
        ),
    ),
    "tapered-tub": Shape(_SLOPED_PLAN, tapered_tub_litres, "{depth} x " + _SLOPES + " / 6 / 1000", steps=_SLOPED_STEPS),
    "sloping-ellipse": Shape(
        _SLOPED_PLAN,
        sloping_ellipse_litres,
        "3.14159265 x {depth} x " + _SLOPES + " / 24 / 1000",
        steps=_SLOPED_STEPS,
    ),
    "spherical-bowl": Shape(
        ("diameter",),
        spherical_bowl_litres,
        "3.14159265 x {depth} x {depth} x (3 x {diameter} / 2 - {depth}) / 3 / 1000",
        walls=True,
        limit=_in_the_round,
    ),
    "pond": Shape(
        ("area",),
        pond_litres,
        "{area} x {mean_depth} / 1000",
        steps=(
            Step(
                "mean_depth",
                lambda soundings, area, depth: pond_mean_cm(soundings, depth),
                "({soundings}) / {count}",
            ),
        ),
        sounded=True,
    ),
}

MEASURES: dict[str, str] = {
    "length": 'Inside length, such as "60 cm" or "24 in".',
    "width": "Inside width; of a hexagon from flat side to flat side; of a half moon its straight back.",
    "diameter": "Inside diameter of a cylinder; of a bowl at its widest.",
    "radius": "Quarter round: inside, from the corner to the curve.",
    "side_depth": "Bow front: inside, front to back along a side pane.",
    "centre_depth": "Bow front, half moon: inside, front to back in the middle.",
    "cut_length": "Cut corner: how much of the length the cut takes off.",
    "cut_width": "Cut corner: how much of the width the cut takes off.",
    "bottom_diameter": "Truncated cone: inside diameter of the floor.",
    "top_diameter": "Truncated cone: inside diameter at --height.",
    "bottom_length": "Tapered tub, sloping ellipse: inside length of the floor.",
    "bottom_width": "The same, its width.",
    "top_length": "Tapered tub, sloping ellipse: inside length at --height.",
    "top_width": "The same, its width.",
    "area": 'Pond: its surface, such as "12.5 m2" or "130 ft2".',
    "soundings": 'Pond: depths along lines from bank to bank, the zeros at both banks too: "0 40 60 0; 0 50 80 0 cm".',
    "height": "Inside height of the walls.",
    "filled": "Water height above the lowest point of the inside floor.",
    "walls": "Wall thickness: then the measures are outside ones.",
    "substrate": 'Depth ("5 cm") or weight ("10 kg").',
    "rocks": 'Weight ("8 kg") or litres they displace ("3 L").',
    "sump": "Water in the sump at running level.",
    "filter": "Water in the filter.",
}
"""Everything that can be typed of a tank, with its help: the options of `tank add`."""

_PARTS = ("walls", "height", "substrate", "rocks", "sump", "filter")


def net_volume(shape: dict[str, Any]) -> Volume:
    """The water in the tank of a table: its shape less walls, substrate and rocks, plus sump and filter.

    The plus-minus is the root of the sum of squares of what each measure's own plus-minus is worth in
    litres. Raises Refused for a measure that is missing or impossible (water above the rim, substrate above
    the water, walls thicker than the tank, no water left, a shape that its formula does not cover), and when the
    plus-minus is as large as the volume.
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
    _check_known(litres, plus_minus)
    return Volume(litres, plus_minus, _working(form, values, parts, litres, plus_minus))


def _check_known(litres: float, plus_minus: float) -> None:
    if plus_minus >= litres:
        raise Refused(
            f"The volume is {_n(litres)} L with a plus-minus of {_n(plus_minus)} L, so it is not known; measure"
            " the tank again with a smaller error."
        )


def shape_from_text(shape: str, **typed: str | None) -> dict[str, Any]:
    """The table of a tank from typed options of ``MEASURES``, each with its unit and perhaps its plus-minus.

    Without a plus-minus a length has 0.2 cm, ``filled`` 0.3 cm, ``walls`` 0.05 cm, a sounding 1 cm, litres,
    kilograms and areas 5 % (our choices). ``substrate`` is a depth or a mass, ``rocks`` a mass or a volume. Raises
    Unknown for a shape that is not known, Usage for an option that is missing or does not belong to the shape,
    Refused for a measure that does not read or is impossible.
    """
    name = re.sub(r"[\s_]+", "-", shape.strip().casefold())
    if name not in SHAPES:
        raise Unknown("tank shape", shape, list(SHAPES))
    given = {option: text for option, text in typed.items() if text is not None}
    _check_options(name, given)
    table: dict[str, Any] = {"shape": name, **dict.fromkeys(_PARTS)}
    for option, text in given.items():
        table.update(_table_soundings(text) if option == "soundings" else {option: _READERS[option](text)})
    net_volume(table)
    return table


def check_measure(option: str, text: str) -> None:
    """Raises Refused when one typed option of ``MEASURES`` does not read by itself: for who asks one at a time."""
    (_table_soundings if option == "soundings" else _READERS[option])(text)


def label_overdose_percent(label_litres: float, volume: Volume) -> float:
    """By how many percent a dose made for the label volume would be too large (below zero: too small)."""
    return (label_litres / volume.litres - 1) * 100


# --- The water at another height -------------------------------------------------------------------------


class Stand(NamedTuple):
    """Where the water stands: how far above the mark (below zero: under it), and its height in the tank, in cm."""

    above_mark: Measure
    height: Measure


def stand_from_text(shape: dict[str, Any], text: str) -> Stand:
    """Where a keeper says the water stands: "3 cm below", "1 cm above the mark", "at the mark", or a height "29 cm".

    The mark is the ``filled`` of the table. Without a plus-minus it has 0.3 cm (our choice). Raises Refused for
    what does not read and for a table without a water height.
    """
    mark = _measure(shape, "filled")
    words = " ".join(text.split())
    if re.fullmatch(r"(at )?(the )?mark", words, re.IGNORECASE):
        return Stand(Measure(0.0, 0.0), mark)
    found = re.fullmatch(r"(.+?) ?(below|above)( the mark)?", words, re.IGNORECASE)
    value, plus_minus = (
        float(part) for part in _pair(found[1] if found else text, "length", "water height", "cm", FILLED_DEFAULT)
    )
    if found is None:
        return Stand(Measure(value - mark.value, hypot(mark.plus_minus, plus_minus)), Measure(value, plus_minus))
    change = value if found[2].casefold() == "above" else -value
    return Stand(Measure(change, plus_minus), Measure(mark.value + change, hypot(mark.plus_minus, plus_minus)))


def volume_at(shape: dict[str, Any], stand: Stand) -> Volume:
    """The water computed from the shape with the water standing there. Raises Refused like ``net_volume``."""
    return net_volume(_with_water(shape, stand))


def measured_at(shape: dict[str, Any], measured: Volume, was: Measure, stand: Stand) -> Volume:
    """A measured volume carried to another water height: measured + shape at the new height - shape at the old.

    ``was`` is how far above the mark the water stood when it was measured, in cm. The measured volume rules, so
    only the layer between the two heights is computed, and only its error is added. Substrate, rocks, sump and
    filter are taken as the same at both. Raises Refused for a height that the tank cannot have.
    """
    form = _form(shape)
    measures = _measures(shape, form)
    new = _measures(_with_water(shape, stand), form)
    _check_possible(form, new)
    values = {name: measure.value for name, measure in measures.items()}

    def layer(values: dict[str, float], higher: float = 0.0) -> float:
        after = {**values, "filled": values["filled"] + stand.above_mark.value + higher}
        return _litres(form, after) - _litres(form, {**values, "filled": values["filled"] + was.value})

    parts = {"measured": measured.plus_minus_litres}
    for name, measure in measures.items():
        ends = (layer({**values, name: values[name] + shift}) for shift in (measure.plus_minus, -measure.plus_minus))
        parts[name] = abs(next(ends) - next(ends)) / 2
    unsure = hypot(was.plus_minus, stand.above_mark.plus_minus)
    parts["water height"] = abs(layer(values, unsure) - layer(values, -unsure)) / 2
    litres, plus_minus = measured.litres + layer(values), hypot(*parts.values())
    if litres <= 0:
        raise Refused(
            "The layer between the two water heights holds more than was measured; measure the tank as it stands:"
            " quarantine tank measure."
        )
    _check_known(litres, plus_minus)
    heights = (stand.height.value, values["filled"] + was.value)
    inside = _inside(form, values)
    lines = [*(f"measured: {line}" for line in measured.working), *_wall_lines(form, values, inside)]
    for height in dict.fromkeys(heights):
        lines += _shape_lines(form, inside, height, f"shape at {_n(height)} cm")
    after, before = (_n(_shape_litres(form, values, height)) for height in heights)
    lines.append(f"water: {_n(measured.litres)} + {after} - {before} = {_n(litres)} L")
    lines.append(_plus_minus_line(parts, plus_minus))
    return Volume(litres, plus_minus, tuple(lines))


def _with_water(shape: dict[str, Any], stand: Stand) -> dict[str, Any]:
    if stand.height.value <= 0:
        raise Refused("There is no water in the tank at that height; say where it stands again.")
    return {**shape, "filled": [show(Decimal(repr(part))) for part in stand.height]}


# --- Reading a table, and the sum ------------------------------------------------------------------------


class _Form(NamedTuple):
    """What a table holds, read: its shape, which parts there are, and the soundings of a pond."""

    name: str
    walls: bool
    substrate: str | None
    rocks: str | None
    sounded: tuple[tuple[float, ...], ...]


def _form(shape: dict[str, Any]) -> _Form:
    name = str(shape.get("shape"))
    if name not in SHAPES:
        raise Unknown("tank shape", name, list(SHAPES))
    return _Form(
        name,
        bool(shape.get("walls")),
        next(iter(shape.get("substrate") or ()), None),
        next(iter(shape.get("rocks") or ()), None),
        (_soundings(shape),) if SHAPES[name].sounded else (),
    )


def _soundings(shape: dict[str, Any]) -> tuple[float, ...]:
    """All soundings of a table, transect after transect, in cm."""
    try:
        depths = tuple(float(Decimal(depth)) for transect in shape["soundings"] for depth in transect)
    except (KeyError, TypeError, ValueError, InvalidOperation):
        raise Refused("The pond has no soundings that can be read; give --soundings with their unit.") from None
    if len(depths) < 3 or not all(0 <= depth < _TOO_LARGE for depth in depths) or max(depths) == 0:
        raise Refused("A pond needs three soundings or more, the zeros at its banks among them; sound it again.")
    return depths


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
    for soundings in form.sounded:
        found["sampling"] = Measure(0.0, sampling_cm(soundings))
    return found


def _measure(table: dict[str, Any], key: str, what: str | None = None, known: tuple[str, ...] | None = None) -> Measure:
    what = what or key
    if known and key not in known:
        raise Refused(f"The {what} of the tank is kept as {key!r}; use one of {', '.join(known)}.")
    pair = table.get(key) if isinstance(table, dict) else None
    words, option = what.replace("_", " "), what.replace("_", "-")
    try:
        if not isinstance(pair, list | tuple):  # a text of two digits would unpack as well
            raise ValueError
        value, plus_minus = (Decimal(text) for text in pair)
    except (TypeError, ValueError, InvalidOperation):
        raise Refused(f"The tank has no {words} that can be read; give --{option} with its unit.") from None
    most = _TOO_LARGE_CM2 if key == "area" else _TOO_LARGE
    if not (value.is_finite() and plus_minus.is_finite() and 0 < value < most and 0 <= plus_minus < most):
        raise Refused(
            f"The {words} of the tank must be above zero and no larger than a pond, with a plus-minus of zero or"
            f" more; measure it again and give --{option}."
        )
    return Measure(float(value), float(plus_minus))


def _check_possible(form: _Form, measures: dict[str, Measure]) -> None:
    shape, filled = SHAPES[form.name], measures["filled"].value
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
    for name in shape.plan:
        if form.walls and measures[name].value <= 2 * measures["walls"].value:
            raise Refused(
                f"The walls leave nothing of the {name.replace('_', ' ')} of {_n(measures[name].value)} cm; measure"
                " --walls again."
            )
    for soundings in form.sounded:
        if filled > max(soundings):
            raise Refused(
                f"The water would stand {_n(filled - max(soundings))} cm above the soundings, and how far the pond"
                " widens there is not known; sound it again, or measure it with salt: quarantine tank gauge."
            )
    inside = _inside(form, {name: measure.value for name, measure in measures.items()})
    if refusal := shape.limit({**measures, **{n: Measure(v, measures[n].plus_minus) for n, v in inside.items()}}):
        raise Refused(refusal)


def _inside(form: _Form, values: dict[str, float]) -> dict[str, float]:
    off = 2 * values["walls"] if form.walls else 0.0
    return {name: values[name] - off for name in SHAPES[form.name].plan}


def _shape_litres(form: _Form, values: dict[str, float], depth: float) -> float:
    """Litres of the bare shape up to a depth."""
    return SHAPES[form.name].litres(*form.sounded, *_inside(form, values).values(), depth)


def _substrate_litres(form: _Form, values: dict[str, float]) -> float:
    """What the grains displace: bed x (1 - porosity), or mass / grain density whatever the porosity."""
    if form.substrate == "depth_cm":
        return _shape_litres(form, values, values["substrate"]) * (1 - values["porosity"])
    return values["substrate"] / values["sand density"] if form.substrate else 0.0


def _rocks_litres(form: _Form, values: dict[str, float]) -> float:
    if form.rocks == "mass_kg":
        return values["rocks"] / values["rock density"]
    return values["rocks"] if form.rocks else 0.0


def _litres(form: _Form, values: dict[str, float]) -> float:
    filled = _shape_litres(form, values, values["filled"])
    missed = values["sampling"] * values["area"] / 1000 if form.sounded else 0.0
    solids = _substrate_litres(form, values) + _rocks_litres(form, values)
    return filled + missed - solids + values.get("sump", 0.0) + values.get("filter", 0.0)


def _worth(form: _Form, values: dict[str, float], name: str, plus_minus: float) -> float:
    """Litres that the plus-minus of one measure is worth: half the difference between both its ends."""
    ends = [_litres(form, {**values, name: values[name] + shift}) for shift in (plus_minus, -plus_minus)]
    return abs(ends[0] - ends[1]) / 2


# --- The working -----------------------------------------------------------------------------------------


def _working(
    form: _Form, values: dict[str, float], parts: dict[str, float], litres: float, plus_minus: float
) -> tuple[str, ...]:
    inside = _inside(form, values)
    lines = _wall_lines(form, values, inside)
    lines += _shape_lines(form, inside, values["filled"], "filled")
    sum_of = [_n(_shape_litres(form, values, values["filled"]))]
    if form.substrate:
        lines += _substrate_lines(form, values, inside)
        sum_of.append(f"- {_n(_substrate_litres(form, values))}")
    if form.rocks:
        taken = _n(_rocks_litres(form, values))
        if form.rocks == "mass_kg":
            lines.append(f"rocks: {_n(values['rocks'])} kg / {_n(ROCK_KG_PER_L)} kg/L (from memory) = {taken} L")
        sum_of.append(f"- {taken}")
    sum_of += [f"+ {_n(values[name])}" for name in ("sump", "filter") if name in values]
    lines.append(f"water: {' '.join(sum_of)} = {_n(litres)} L")
    for soundings in form.sounded:
        lines.append(
            f"sampling: the mean may miss the spread of {len(soundings)} soundings / sqrt({len(soundings)}) ="
            f" {_n(sampling_cm(soundings))} cm (our choice, no source)"
        )
    return (*lines, _plus_minus_line(parts, plus_minus))


def _wall_lines(form: _Form, values: dict[str, float], inside: dict[str, float]) -> list[str]:
    if not form.walls:
        return []
    wall = _n(values["walls"])
    return [f"inside {n.replace('_', ' ')}: {_n(values[n])} cm - 2 x {wall} cm = {_n(v)} cm" for n, v in inside.items()]


def _plus_minus_line(parts: dict[str, float], plus_minus: float) -> str:
    worth = ", ".join(f"{name.replace('_', ' ')} {_n(part)}" for name, part in parts.items() if _n(part) != "0")
    return f"plus-minus: root of the sum of squares of {worth or '0'} = {_n(plus_minus)} L"


def _steps(form: _Form, inside: dict[str, float], depth: float) -> tuple[dict[str, str], list[tuple[str, str]]]:
    """The words of a formula at a depth, and each step before it as (name, "formula = value")."""
    shape = SHAPES[form.name]
    words = {name: f"{_n(value)} {'cm2' if name == 'area' else 'cm'}" for name, value in inside.items()}
    words["depth"] = f"{_n(depth)} cm"
    for soundings in form.sounded:
        words["soundings"] = " + ".join(f"{_n(d)} cm" for d in pond_depths_cm(soundings, depth))
        words["count"] = str(len(soundings))
    found = []
    for step in shape.steps:
        value = f"{_n(step.value(*form.sounded, *inside.values(), depth))} cm"
        found.append((step.name.replace("_", " "), f"{step.formula.format(**words)} = {value}"))
        words[step.name] = value
    return words, found


def _shape_lines(form: _Form, inside: dict[str, float], depth: float, label: str) -> list[str]:
    """The litres of the bare shape up to a depth, step by step."""
    shape = SHAPES[form.name]
    words, steps = _steps(form, inside, depth)
    litres = _n(shape.litres(*form.sounded, *inside.values(), depth))
    note = f" ({shape.note})" if shape.note else ""
    return [
        *[f"{label}, {name}: {line}" for name, line in steps],
        f"{label}: {shape.formula.format(**words)} = {litres} L{note}",
    ]


def _substrate_lines(form: _Form, values: dict[str, float], inside: dict[str, float]) -> list[str]:
    taken = _n(_substrate_litres(form, values))
    if form.substrate == "mass_kg":
        density = _n(SAND_KG_PER_L)
        return [f"substrate: {_n(values['substrate'])} kg / {density} kg/L (from memory) = {taken} L"]
    low, high = POROSITY
    words, steps = _steps(form, inside, values["substrate"])
    return [
        *[f"substrate, {name}: {line}" for name, line in steps],
        f"substrate: {SHAPES[form.name].formula.format(**words)} x (1 - {_n(values['porosity'])}) = {taken} L"
        f" (porosity {_n(low)} to {_n(high)}: AAPG Bulletin 57:349, 1973)",
    ]


def _n(number: float) -> str:
    """For the working: at most four decimals."""
    return show(Decimal(repr(number)), 4)


def described(shape: dict[str, Any]) -> list[str]:
    """The tank of a table in words, a measure a line, with its plus-minus: for people who see no drawing."""
    plan = [name for name in SHAPES[_form(shape).name].plan if name != "height"]
    where = "outside" if shape.get("walls") else "inside"
    lines = [f"shape: {shape['shape'].replace('-', ' ')}, measured {where}"]
    for name in (*plan, "filled", *_PARTS):
        if not shape.get(name):
            continue
        words = {"filled": "water height at the mark", "walls": "wall thickness"}.get(name, name.replace("_", " "))
        unit, factor, pair = _unit_of(name, shape[name])
        value, plus_minus = show(Decimal(pair[0]) * factor, 2), show(Decimal(pair[1]) * factor, 2, up=True)
        lines.append(f"{words}: {value} {unit}, plus or minus {plus_minus} {unit}")
    for transect in shape.get("soundings") or ():
        lines.append(f"soundings: {', '.join(show(Decimal(depth), 2) for depth in transect)} cm")
    return lines


def _unit_of(name: str, value: Any) -> tuple[str, Decimal, list[str]]:
    """The unit in which people read a measure, what to multiply the kept figures by, and these."""
    if isinstance(value, dict):
        ((key, pair),) = value.items()
        return {"depth_cm": "cm", "mass_kg": "kg", "litres": "L"}[key], Decimal(1), pair
    if name == "area":
        return "m2", Decimal("0.0001"), value
    return {"sump": "L", "filter": "L"}.get(name, "cm"), Decimal(1), value


# --- What a keeper types ---------------------------------------------------------------------------------


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _check_options(name: str, given: dict[str, str]) -> None:
    shape = SHAPES[name]
    wanted = (*shape.plan, "soundings" if shape.sounded else "filled")
    may = set(wanted) | {"height", "rocks", "sump", "filter"} | ({"walls"} if shape.walls else set())
    if not shape.sounded:
        may.add("substrate")
    belong = ", ".join(_option(option) for option in wanted)
    for option in given:
        if option in may:
            continue
        raise Usage(_does_not_belong(name, option, belong))
    missing = [_option(option) for option in wanted if not given.get(option)]
    if missing:
        raise Usage(f"A {name} needs {belong}; missing: {', '.join(missing)}.")


def _does_not_belong(name: str, option: str, belong: str) -> str:
    if option not in MEASURES:
        return f"{_option(option)} is not a measure of a tank; a {name} has {belong}."
    if option == "walls":
        return f"Twice the wall is not what a {name} loses to its walls: measure it inside and leave --walls out."
    if option == "substrate":
        return f"The soundings of a {name} end on its substrate, so they leave it out already: leave --substrate out."
    return f"{_option(option)} does not belong to a {name}; a {name} has {belong}."


def _pair(text: str, kind: str, option: str, unit: str, default: Quantity | Decimal) -> list[str]:
    value, plus_minus = read_with_error(text, kind, option, default)
    return [show(to(value, unit)), show(to(plus_minus, unit, difference=True))]


def _one_of(text: str, option: str, kinds: tuple[str, ...]) -> dict[str, list[str]]:
    """A measure that may be of two kinds; one that is neither is refused as the second, and the first is named."""
    kind = kind_of(text)
    if kind not in kinds:
        other = {"length": "a depth", "mass": "a mass"}[kinds[0]]
        option, kind = f"{option} (or {other})", kinds[1]
    key, unit = {"length": ("depth_cm", "cm"), "mass": ("mass_kg", "kg"), "volume": ("litres", "L")}[kind]
    return {key: _pair(text, kind, f"--{option}", unit, LENGTH_DEFAULT if kind == "length" else PERCENT_DEFAULT)}


_SQUARE = re.compile(r"(?<=[A-Za-z])(?:\^?2|²)(?![0-9])")


def _area(text: str) -> list[str]:
    """A surface in cm2, typed as "12.5 m2": read as the length its unit is the square of; every length unit serves."""
    if not _SQUARE.search(text):
        raise Refused(f"The --area {text[:40]!r} has no unit of a surface; write one of m2, cm2, ft2, such as 12.5 m2.")
    pair = read_with_error(_SQUARE.sub("", text), "length", "--area", PERCENT_DEFAULT)
    return [show(q.value * to(Quantity(Decimal(1), q.unit), "cm") ** 2) for q in pair]


def _table_soundings(text: str) -> dict[str, Any]:
    """The soundings and the water height of "0 40 60 0; 0 50 80 0 cm": transects apart by ";", one unit at the end."""
    found = re.fullmatch(r"([0-9.;\s]+?)\s*([A-Za-z].*)", text.strip())
    if found is None:
        raise Refused(
            f"The --soundings {text[:40]!r} do not read; write numbers with spaces between them, a ; between two"
            ' lines and one unit at the end, such as "0 40 60 0; 0 50 80 0 cm".'
        )
    unit, plus_minus = _unit_and_error(found[2])
    transects = []
    for number, line in enumerate(found[1].split(";"), 1):
        depths = [
            _pair(f"{depth} {unit}", "length", "--soundings", "cm", SOUNDING_DEFAULT)[0] for depth in line.split()
        ]
        if not any(Decimal(depth) for depth in depths[1:-1]) or Decimal(depths[0]) or Decimal(depths[-1]):
            raise Refused(
                f"Line {number} of --soundings must begin and end with the 0 of its banks and have a depth between:"
                " without the zeros the pond comes out too deep, and the dose too large."
            )
        transects.append(depths)
    deepest = max((depth for line in transects for depth in line), key=Decimal)
    return {"soundings": transects, "filled": [deepest, plus_minus]}


def _unit_and_error(text: str) -> tuple[str, str]:
    """The unit of soundings and the plus-minus of each in cm, from "cm" or "cm ± 2 cm"."""
    value, plus_minus = read_with_error(f"1 {text}", "length", "--soundings", SOUNDING_DEFAULT)
    return value.unit, show(to(plus_minus, "cm", difference=True))


def _length_reader(option: str, default: Quantity = LENGTH_DEFAULT) -> Callable[[str], Any]:
    return lambda text: _pair(text, "length", _option(option), "cm", default)


_READERS: dict[str, Callable[[str], Any]] = {
    **{name: _length_reader(name) for name in MEASURES},
    "filled": _length_reader("filled", FILLED_DEFAULT),
    "walls": _length_reader("walls", WALLS_DEFAULT),
    "area": _area,
    "substrate": lambda text: _one_of(text, "substrate", ("length", "mass")),
    "rocks": lambda text: _one_of(text, "rocks", ("mass", "volume")),
    "sump": lambda text: _pair(text, "volume", "--sump", "L", PERCENT_DEFAULT),
    "filter": lambda text: _pair(text, "volume", "--filter", "L", PERCENT_DEFAULT),
}
