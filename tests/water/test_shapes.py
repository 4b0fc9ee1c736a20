"""Every shape from what is typed: its options, limits, substrate at its own depth, working, and the water's height."""

from __future__ import annotations

import json
import math
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused, Usage
from quarantine.water.volume import (
    SHAPES,
    Measure,
    Volume,
    described,
    measured_at,
    net_volume,
    shape_from_text,
    stand_from_text,
    volume_at,
)

SLOPED = {
    "bottom_length": "50 cm", "bottom_width": "30 cm", "top_length": "60 cm", "top_width": "40 cm",
    "height": "30 cm", "filled": "28 cm",
}  # fmt: skip
TYPED: dict[str, dict[str, str]] = {
    "box": {"length": "60 cm", "width": "30 cm", "filled": "32 cm"},
    "cylinder": {"diameter": "80 cm", "filled": "45 cm"},
    "lying-cylinder": {"diameter": "60 cm", "length": "120 cm", "filled": "40 cm"},
    "hexagon": {"width": "40 cm", "filled": "45 cm"},
    "quarter-round": {"radius": "60 cm", "filled": "45 cm"},
    "half-moon": {"width": "80 cm", "centre_depth": "38 cm", "filled": "45 cm"},
    "bow-front": {"width": "90 cm", "side_depth": "35 cm", "centre_depth": "45 cm", "filled": "48 cm"},
    "cut-corner": {"length": "60 cm", "width": "60 cm", "cut_length": "35 cm", "cut_width": "30 cm", "filled": "40 cm"},
    "truncated-cone": {"bottom_diameter": "26 cm", "top_diameter": "30 cm", "height": "36 cm", "filled": "30 cm"},
    "tapered-tub": SLOPED,
    "sloping-ellipse": SLOPED,
    "spherical-bowl": {"diameter": "30 cm", "filled": "22 cm"},
    "pond": {"area": "12.5 m2", "soundings": "0 40 60 40 0; 0 50 80 55 0 cm"},
}


def tank(shape: str, **options: str) -> dict[str, Any]:
    return shape_from_text(shape, **{**TYPED[shape], **options})


def test_every_shape_is_tried_here() -> None:
    """A new row of the table has to be tried as well."""
    assert list(TYPED) == list(SHAPES)


def recomputed(line: str) -> tuple[float, float]:
    """What a line of the working says on its left side, worked out, and on its right."""
    text = re.sub(r" \((from memory|acos in radians|porosity .*)\)", "", line.split(": ", 1)[1])
    left, right = text.split(" = ")
    formula = re.sub(r" (cm2?|kg/L|kg|L)\b", "", left).replace("x", "*")
    return eval(formula, {"acos": math.acos, "sqrt": math.sqrt}), float(re.sub(r" (cm|L)$", "", right))


@pytest.mark.parametrize("shape", TYPED)
def test_the_working_of_every_shape_can_be_recomputed_by_hand(shape: str) -> None:
    """Each line of the working gives the number it says, with walls and substrate where the shape may have them."""
    options = {} if SHAPES[shape].sounded else {"substrate": "3 cm"}
    if SHAPES[shape].walls:
        options["walls"] = "5 mm"
    volume = net_volume(tank(shape, rocks="2 kg", filter="2 L", **options))
    lines = [line for line in volume.working if not line.startswith(("plus-minus", "sampling"))]
    for line in lines:
        left, right = recomputed(line)
        assert left == pytest.approx(right, rel=1e-4, abs=0.002), line
    assert recomputed(lines[-1])[1] == pytest.approx(volume.litres, abs=0.0001)
    squares = [float(n) ** 2 for n in re.findall(r" (\d+\.?\d*)(?=,| =)", volume.working[-1])]
    assert math.sqrt(sum(squares)) == pytest.approx(volume.plus_minus_litres, rel=1e-4, abs=0.0005)


@pytest.mark.parametrize("shape", [name for name, row in SHAPES.items() if not row.sounded])
def test_substrate_by_depth_takes_the_shapes_own_litres_at_that_depth(shape: str) -> None:
    """A bed of 3 cm displaces what the bare shape holds at 3 cm, less its pores (mean porosity 0.3515)."""
    bare = net_volume(tank(shape)).litres
    bed = net_volume(tank(shape, filled="3 cm ± 0.1 cm")).litres
    assert bare - net_volume(tank(shape, substrate="3 cm")).litres == pytest.approx(bed * (1 - 0.3515), rel=1e-9)


@pytest.mark.parametrize("shape", TYPED)
def test_the_table_of_every_shape_is_json_and_reads_back(shape: str) -> None:
    """What is kept can go into JSON and back unchanged and still be the same water."""
    table = tank(shape)
    assert json.loads(json.dumps(table)) == table
    assert net_volume(json.loads(json.dumps(table))) == net_volume(table)


def test_a_shape_may_be_typed_with_a_space() -> None:
    """ "Tapered tub" is the tapered-tub."""
    assert shape_from_text("Tapered tub", **SLOPED)["shape"] == "tapered-tub"


@pytest.mark.parametrize(("shape", "option"), [(s, o) for s, typed in TYPED.items() for o in typed])
def test_an_option_that_is_missing_is_named(shape: str, option: str) -> None:
    """Every measure of every shape is needed, and its option is named."""
    typed = {name: text for name, text in TYPED[shape].items() if name != option}
    with pytest.raises(Usage, match=rf"missing: --{option.replace('_', '-')}\."):
        shape_from_text(shape, **typed)


@pytest.mark.parametrize("shape", TYPED)
def test_an_option_of_another_shape_does_not_belong(shape: str) -> None:
    """What no formula of the shape uses is refused, and what it has is listed."""
    other = "radius" if shape != "quarter-round" else "length"
    with pytest.raises(Usage, match=rf"--{other} does not belong to a {shape}; a {shape} has --"):
        tank(shape, **{other: "10 cm"})


@pytest.mark.parametrize("shape", [name for name, row in SHAPES.items() if not row.walls])
def test_walls_come_off_only_where_twice_the_wall_is_exact(shape: str) -> None:
    """A slope or a curved pane loses more than twice its wall: such a tank is measured inside."""
    with pytest.raises(Usage, match=f"not what a {shape} loses to its walls: measure it inside"):
        tank(shape, walls="6 mm")


@pytest.mark.parametrize(
    ("shape", "less"),
    [("lying-cylinder", {"diameter": "58 cm", "length": "118 cm"}), ("hexagon", {"width": "38 cm"}),
     ("spherical-bowl", {"diameter": "28 cm"})],
)  # fmt: skip
def test_twice_the_wall_comes_off_each_plan_measure(shape: str, less: dict[str, str]) -> None:
    """Outside measures with walls of 1 cm are the inside ones 2 cm smaller."""
    assert net_volume(tank(shape, walls="1 cm")).litres == pytest.approx(net_volume(tank(shape, **less)).litres)


@pytest.mark.parametrize(
    ("shape", "options", "kind", "says"),
    [
        ("lying-cylinder", {"filled": "61 cm"}, Refused, "stands 61 cm high and the inside is 60 cm in diameter"),
        ("lying-cylinder", {"filled": "59.5 cm", "walls": "1 cm"}, Refused, "the inside is 58 cm in diameter"),
        ("spherical-bowl", {"filled": "31 cm"}, Refused, "the inside is 30 cm in diameter"),
        ("half-moon", {"centre_depth": "41 cm"}, Refused, "41 cm is more than half of 80 cm"),
        ("bow-front", {"centre_depth": "35 cm"}, Refused, "is not more than --side-depth 35 cm"),
        ("bow-front", {"centre_depth": "81 cm"}, Refused, "comes 46 cm forward, more than half of the 90 cm width"),
        ("cut-corner", {"cut_length": "61 cm"}, Refused, "takes 61 cm off a length of 60 cm; measure --cut-length"),
        ("cut-corner", {"cut_width": "61 cm"}, Refused, "takes 61 cm off a width of 60 cm"),
        ("truncated-cone", {"filled": "37 cm"}, Refused, "stands 37 cm high and the tank is 36 cm high inside"),
        ("tapered-tub", {"top_width": "0 cm"}, Refused, "top width of the tank must be above zero"),
        ("tapered-tub", {"substrate": "28 cm"}, Refused, "substrate is 28 cm deep"),
        ("pond", {"substrate": "5 cm"}, Usage, "end on its substrate"),
        ("pond", {"filled": "80 cm"}, Usage, "--filled does not belong to a pond; a pond has --area, --soundings"),
        ("pond", {"area": "12.5 m"}, Refused, "no unit of a surface; write one of m2"),
        ("pond", {"area": "12.5"}, Refused, "no unit of a surface"),
        ("pond", {"area": "12,5 m2"}, Refused, "has a comma"),
        ("pond", {"area": "0 m2"}, Refused, "area of the tank must be above zero"),
        ("pond", {"soundings": "0 40 0; 0 50 80"}, Refused, "do not read; write numbers"),
        ("pond", {"soundings": "0 40 0; 10 50 80 0 cm"}, Refused, "Line 2 of --soundings must begin and end"),
        ("pond", {"soundings": "0 40 30 cm"}, Refused, "Line 1 of --soundings must begin and end"),
        ("pond", {"soundings": "0 0 cm"}, Refused, "Line 1 .* have a depth between"),
        ("pond", {"soundings": "0 0 0 cm"}, Refused, "Line 1 .* have a depth between"),
        ("pond", {"soundings": "0 4.5.2 0 cm"}, Refused, "more than one number|unknown unit"),
        ("pond", {"soundings": "0 1/2 0 ft"}, Refused, "do not read"),
        ("pond", {"soundings": "0 40 0 kg"}, Refused, "a mass, and a length is needed"),
        ("pond", {"soundings": "0 40 0; cm"}, Refused, "Line 2"),
        ("pond", {"soundings": ""}, Usage, "missing: --soundings"),
        ("box", {"depth": "3 cm"}, Usage, "--depth is not a measure of a tank"),
    ],
)  # fmt: skip
def test_what_a_formula_does_not_cover_is_refused(
    shape: str, options: dict[str, str], kind: type[Exception], says: str
) -> None:
    """Outside its valid range a formula gives no litres but a sentence that names what to measure again."""
    with pytest.raises(kind, match=says):
        tank(shape, **options)


@pytest.mark.parametrize(
    "soundings",
    [None, "0 40 0", [["0", "x", "0"]], [["0", "-5", "0"]], [["0", "nan", "0"]], [["0", "0", "0"]], [["0", "4"]], [3]],
)
def test_a_damaged_table_of_soundings_is_refused(soundings: Any) -> None:
    """Soundings that do not hold a pond are refused with a sentence, never a traceback."""
    with pytest.raises(Refused, match="soundings"):
        net_volume({**tank("pond"), "soundings": soundings})


def test_a_half_moon_may_be_half_a_circle_within_the_plus_minus_of_the_tape() -> None:
    """40.1 ± 0.2 cm in the middle of 80 ± 0.2 cm is half a circle, measured."""
    assert net_volume(tank("half-moon", centre_depth="40.1 cm")).litres == pytest.approx(
        math.pi * 1600 / 2 * 45 / 1000, rel=0.004
    )


def test_a_tank_filled_to_the_top_of_a_round_side_has_an_uncertainty() -> None:
    """At the top of a lying cylinder and a bowl the plus-minus of the water height cannot leave the formula."""
    for shape, options in (("lying-cylinder", {"filled": "60 cm"}), ("spherical-bowl", {"filled": "30 cm"})):
        volume = net_volume(tank(shape, **options))
        assert 0 < volume.plus_minus_litres < volume.litres * 0.05


def test_soundings_bring_the_plus_minus_of_their_spread() -> None:
    """Mean 32.5 cm, spread 30.12 cm of ten soundings: 9.523 cm x 12.5 m2 = 1190 L (by hand)."""
    volume = net_volume(tank("pond", area="12.5 m2 ± 0 m2", soundings="0 40 60 40 0; 0 50 80 55 0 cm ± 0 cm"))
    assert volume.litres == pytest.approx(4062.5)
    assert volume.plus_minus_litres == pytest.approx(1190.4, abs=0.05)


cm = st.floats(min_value=20, max_value=200).map(lambda x: round(x, 1))


@given(cm, cm, cm, st.floats(min_value=0.05, max_value=1))
def test_shapes_that_meet_agree(a: float, b: float, h: float, part: float) -> None:
    """A tub without a slope is a box, a cone without one a cylinder, an ellipse of equal axes a cone."""
    depth = f"{h * part:.3f} cm"

    def litres(shape: str, **typed: str) -> float:
        return net_volume(shape_from_text(shape, filled=f"{depth} ± 0.001 cm", **typed)).litres

    long, wide, high = f"{a} cm", f"{b} cm", f"{h} cm"
    tub = {"bottom_length": long, "bottom_width": wide, "top_length": long, "top_width": wide, "height": high}
    assert litres("tapered-tub", **tub) == pytest.approx(litres("box", length=long, width=wide))
    cone = litres("truncated-cone", bottom_diameter=long, top_diameter=wide, height=high)
    round_ = {"bottom_length": long, "bottom_width": long, "top_length": wide, "top_width": wide, "height": high}
    assert litres("sloping-ellipse", **round_) == pytest.approx(cone)
    straight = litres("truncated-cone", bottom_diameter=long, top_diameter=long, height=high)
    assert straight == pytest.approx(litres("cylinder", diameter=long))


@given(st.sampled_from([s for s in TYPED if s != "pond"]), st.floats(0.1, 0.9), st.floats(0.1, 0.9))
def test_more_water_is_more_litres(shape: str, one: float, other: float) -> None:
    """Litres rise with the water height in every shape."""
    full = float(TYPED[shape]["filled"].removesuffix(" cm"))
    low, high = sorted(round(full * part, 3) for part in (one, other))
    litres = [net_volume(tank(shape, filled=f"{height} cm ± 0.01 cm")).litres for height in (low, high)]
    assert litres[0] <= litres[1]


# --- The water at another height -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "above", "height"),
    [
        ("3 cm below", (-3, 0.3), (29, math.hypot(0.3, 0.3))),
        ("3 cm ± 1 mm below the mark", (-3, 0.1), (29, math.hypot(0.3, 0.1))),
        ("1 in above", (2.54, 0.3), (34.54, math.hypot(0.3, 0.3))),
        ("29 cm", (-3, math.hypot(0.3, 0.3)), (29, 0.3)),
        ("at the mark", (0, 0), (32, 0.3)),
        ("Mark", (0, 0), (32, 0.3)),
    ],
)
def test_where_the_water_stands(text: str, above: tuple[float, float], height: tuple[float, float]) -> None:
    """Below or above the mark or a height: the plus-minus of the mark joins where both are needed."""
    stand = stand_from_text(tank("box"), text)
    assert stand.above_mark == pytest.approx(above)
    assert stand.height == pytest.approx(height)


@pytest.mark.parametrize(
    ("text", "says"),
    [("3 below", "has no unit"), ("3 L below", "is a volume"), ("low", "does not begin with a number"), ("", "empty")],
)
def test_a_height_that_does_not_read_is_refused(text: str, says: str) -> None:
    """What cannot be a height is refused with a sentence."""
    with pytest.raises(Refused, match=says):
        stand_from_text(tank("box"), text)


@pytest.mark.parametrize(
    ("shape", "options", "text", "says"),
    [
        ("box", {}, "32 cm below", "no water in the tank at that height"),
        ("box", {"height": "36 cm"}, "5 cm above", "stands 37 cm high and the tank is 36 cm high"),
        ("box", {"substrate": "5 cm"}, "4 cm", "substrate is 5 cm deep and the water only 4 cm"),
        ("pond", {}, "1 cm above", "stand 1 cm above the soundings"),
        ("lying-cylinder", {}, "21 cm above", "the inside is 60 cm in diameter"),
    ],
)
def test_a_height_the_tank_cannot_have_is_refused(shape: str, options: dict[str, str], text: str, says: str) -> None:
    """Computed or carried from a measured volume, a height outside the tank gives no litres."""
    table = tank(shape, **options)
    stand = stand_from_text(table, text)
    with pytest.raises(Refused, match=says):
        volume_at(table, stand)
    with pytest.raises(Refused, match=says):
        measured_at(table, Volume(50, 0.5, ("50 L",)), Measure(0, 0), stand)


def test_a_pond_that_sinks_loses_its_rim_first() -> None:
    """10 cm lower: soundings 30 50 30 40 70 45 and four zeros, mean 26.5 cm x 12.5 m2 = 3312.5 L (by hand)."""
    table = tank("pond")
    assert volume_at(table, stand_from_text(table, "10 cm below")).litres == pytest.approx(3312.5)


@pytest.mark.parametrize("shape", TYPED)
def test_a_measured_volume_loses_what_the_shape_loses(shape: str) -> None:
    """Measured 1 % under the computed volume, it stays that many litres under it at another height."""
    table = tank(shape)
    full = net_volume(table)
    stand = stand_from_text(table, "2 cm below")
    low = volume_at(table, stand).litres
    carried = measured_at(table, Volume(full.litres * 0.99, 0.1, ("measured",)), Measure(0, 0), stand)
    assert carried.litres == pytest.approx(low - full.litres * 0.01)
    assert carried.plus_minus_litres > 0.1


def test_only_the_layer_between_adds_its_error_to_a_measured_volume() -> None:
    """49.3 ± 0.5 L less 60 x 30 x 3 cm is 43.9 L; 0.3 cm of height is worth 0.54 L (by hand)."""
    table = tank("box")
    volume = measured_at(table, Volume(49.3, 0.5, ("49.3 L",)), Measure(0, 0), stand_from_text(table, "3 cm below"))
    assert volume.litres == pytest.approx(43.9)
    layer = math.hypot(0.3 * 3 * 0.2 / 10, 0.6 * 3 * 0.2 / 10)  # length and width are worth this much of 5.4 L
    assert volume.plus_minus_litres == pytest.approx(math.hypot(0.5, 0.54, layer), abs=1e-9)
    assert volume.working[-2] == "water: 49.3 + 52.2 - 57.6 = 43.9 L"


def test_a_volume_measured_at_another_height_comes_back_to_itself() -> None:
    """Measured 3 cm below the mark and asked for at that height, it is what was measured."""
    table = tank("tapered-tub")
    measured = Volume(40, 0.5, ("40 L",))
    volume = measured_at(table, measured, Measure(-3, 0), stand_from_text(table, "3 cm ± 0 cm below"))
    assert (volume.litres, volume.plus_minus_litres) == pytest.approx((40, 0.5))


def test_a_layer_larger_than_what_was_measured_is_refused() -> None:
    """A measured volume and a shape that do not fit each other are measured again."""
    table = tank("box")
    with pytest.raises(Refused, match="holds more than was measured"):
        measured_at(table, Volume(5, 0.5, ("5 L",)), Measure(0, 0), stand_from_text(table, "3 cm below"))


def test_a_tank_in_words() -> None:
    """A description names each measure on a line of its own, with its unit and plus-minus."""
    assert described(tank("pond"))[:3] == [
        "shape: pond, measured inside",
        "area: 12.5 m2, plus or minus 0.63 m2",
        "water height at the mark: 80 cm, plus or minus 1 cm",
    ]
    assert described(tank("pond"))[3:] == ["soundings: 0, 40, 60, 40, 0 cm", "soundings: 0, 50, 80, 55, 0 cm"]
    lines = described(tank("box", walls="6 mm", rocks="8 kg", sump="20 L", substrate="3 cm"))
    assert lines[0] == "shape: box, measured outside"
    assert "wall thickness: 0.6 cm, plus or minus 0.05 cm" in lines
    assert "rocks: 8 kg, plus or minus 0.4 kg" in lines
    assert "sump: 20 L, plus or minus 1 L" in lines
    assert "height: 36 cm, plus or minus 0.2 cm" in described(tank("truncated-cone"))
