"""The water really there: shapes from text, what belongs to them, working that can be recomputed, uncertainty."""

from __future__ import annotations

import json
import math
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.failures import Refused, Unknown, Usage
from quarantine.water.volume import label_overdose_percent, net_volume, shape_from_text

BOX = {"length": "60 cm", "width": "30 cm", "filled": "32 cm"}


def box(**options: str) -> dict[str, Any]:
    return shape_from_text("box", **{**BOX, **options})


def test_the_table_is_decimal_text_in_cm_litres_and_kilograms() -> None:
    """What is kept can go into JSON and back unchanged, with the defaults of each measure spelled out."""
    table = shape_from_text(
        "box", length="24 in", width="30 cm ± 1 mm", filled="32 cm", walls="1/4 in", height="36 cm",
        substrate="22 lb ± 1 lb", rocks="3 L", sump="5 USgal", filter="2 L ± 0.1 L",
    )  # fmt: skip
    assert json.loads(json.dumps(table)) == table
    assert table == {
        "shape": "box",
        "length": ["60.96", "0.2"],
        "width": ["30", "0.1"],
        "filled": ["32", "0.3"],
        "walls": ["0.635", "0.05"],
        "height": ["36", "0.2"],
        "substrate": {"mass_kg": ["9.97903214", "0.45359237"]},
        "rocks": {"litres": ["3", "0.15"]},
        "sump": ["18.92705892", "0.946352946"],
        "filter": ["2", "0.1"],
    }


def test_a_bare_box_holds_nothing_else() -> None:
    """Parts that were not given are null in the table and worth nothing in the volume."""
    table = box()
    assert [table[part] for part in ("walls", "height", "substrate", "rocks", "sump", "filter")] == [None] * 6
    assert net_volume(table).litres == pytest.approx(57.6)
    assert net_volume({"shape": "box", "length": ["60", "0"], "width": ["30", "0"], "filled": ["32", "0"]}) == (
        pytest.approx(57.6),
        0.0,
        (
            "filled: 60 cm x 30 cm x 32 cm / 1000 = 57.6 L",
            "water: 57.6 = 57.6 L",
            "plus-minus: root of the sum of squares of 0 = 0 L",
        ),
    )


def recomputed(line: str) -> tuple[float, float]:
    """What a line of the working says on its left side, worked out, and on its right."""
    text = re.sub(r" \(from memory\)| \(porosity.*\)$", "", line.split(": ", 1)[1])
    left, right = text.split(" = ")
    formula = re.sub(r" (cm|kg/L|kg|L)\b", "", left).replace("x", "*")
    return eval(formula), float(re.sub(r" (cm|L)$", "", right))


@pytest.mark.parametrize(
    ("shape", "options"),
    [
        ("box", {**BOX, "walls": "6 mm", "substrate": "5 cm", "rocks": "8 kg", "sump": "20 L", "filter": "1 USgal"}),
        ("box", {**BOX, "substrate": "10 kg", "rocks": "3 L"}),
        ("cylinder", {"diameter": "80 cm", "filled": "45 cm", "walls": "3 mm", "substrate": "4 cm"}),
    ],
)
def test_the_working_can_be_recomputed_by_hand(shape: str, options: dict[str, str]) -> None:
    """Every line of the working gives the number it says, to its printed digits, and the last ones are the volume."""
    volume = net_volume(shape_from_text(shape, **options))
    for line in volume.working[:-1]:
        left, right = recomputed(line)
        assert left == pytest.approx(right, abs=0.002), line
    assert recomputed(volume.working[-2])[1] == pytest.approx(volume.litres, abs=0.0001)
    squares = [float(n) ** 2 for n in re.findall(r" (\d+\.?\d*)(?=,| =)", volume.working[-1])]
    assert math.sqrt(sum(squares)) == pytest.approx(volume.plus_minus_litres, abs=0.001)


def test_outside_measures_lose_two_walls() -> None:
    """With walls the length, width and diameter are outside ones; the water height is not touched."""
    assert net_volume(box(walls="1 cm")).litres == pytest.approx(58 * 28 * 32 / 1000)
    table = shape_from_text("cylinder", diameter="42 cm", filled="30 cm", walls="1 cm")
    assert net_volume(table).litres == pytest.approx(math.pi * 20**2 * 30 / 1000)


def test_sump_and_filter_are_added() -> None:
    """What circulates with the tank is dosed with it."""
    assert net_volume(box(sump="20 L", filter="2.5 L")).litres == pytest.approx(57.6 + 22.5)


@pytest.mark.parametrize("option", ["substrate", "rocks", "sump", "filter", "walls"])
def test_each_part_adds_its_uncertainty(option: str) -> None:
    """No part makes the volume better known."""
    part = {"substrate": "5 cm", "rocks": "5 kg", "sump": "20 L", "filter": "2 L", "walls": "6 mm ± 1 mm"}[option]
    plain, more = net_volume(box()), net_volume(box(**{option: part}))
    assert more.plus_minus_litres > plain.plus_minus_litres * 0.999
    assert more.litres != plain.litres


lengths = st.floats(min_value=20, max_value=200).map(lambda x: round(x, 1))


@settings(deadline=None)
@given(lengths, lengths, lengths, st.floats(min_value=0.1, max_value=2))
def test_the_uncertainty_is_the_root_of_the_sum_of_squares(a: float, b: float, h: float, u: float) -> None:
    """For a bare box the relative parts of the three measures add in quadrature."""
    volume = net_volume(
        {"shape": "box", "length": [str(a), str(u)], "width": [str(b), str(u)], "filled": [str(h), str(u)]}
    )
    relative = math.sqrt((u / a) ** 2 + (u / b) ** 2 + (u / h) ** 2)
    assert volume.plus_minus_litres == pytest.approx(volume.litres * relative, rel=1e-9)


@settings(deadline=None)
@given(lengths, lengths, lengths)
def test_inches_and_centimetres_agree(a: float, b: float, h: float) -> None:
    """The same tank measured in inches holds the same water."""
    cm = net_volume(
        shape_from_text("box", length=f"{a * 2.54:.6f} cm", width=f"{b * 2.54:.6f} cm", filled=f"{h * 2.54:.6f} cm")
    )
    inches = net_volume(shape_from_text("box", length=f"{a} in", width=f"{b} in", filled=f"{h} in"))
    assert inches.litres == pytest.approx(cm.litres, rel=1e-6)


@pytest.mark.parametrize(
    ("shape", "options", "kind", "says"),
    [
        ("bowl", BOX, Unknown, "no tank shape 'bowl'; known: box, cylinder"),
        ("bx", BOX, Unknown, "Did you mean 'box'"),
        ("box", {**BOX, "diameter": "3 cm"}, Usage, "--diameter does not belong to a box"),
        ("cylinder", BOX, Usage, "--length does not belong to a cylinder"),
        ("box", {"length": "60 cm", "width": "30 cm"}, Usage, "missing: --filled"),
        ("cylinder", {}, Usage, "missing: --diameter, --filled"),
        ("box", {**BOX, "length": "60"}, Refused, "--length '60' has no unit"),
        ("box", {**BOX, "length": "0 cm"}, Refused, "length of the tank must be above zero"),
        ("box", {**BOX, "length": "99999999 m"}, Refused, "no larger than a pond"),
        ("box", {**BOX, "substrate": "5"}, Refused, r"--substrate \(or a depth\) '5' has no unit"),
        ("box", {**BOX, "substrate": "5 L"}, Refused, "is a volume, and a mass is needed"),
        ("box", {**BOX, "rocks": "5 cm"}, Refused, "is a length, and a volume is needed"),
        ("box", {**BOX, "substrate": "32 cm"}, Refused, "substrate is 32 cm deep and the water only 32 cm"),
        ("box", {**BOX, "height": "30 cm"}, Refused, "stands 32 cm high and the tank is 30 cm high"),
        ("box", {**BOX, "walls": "15 cm"}, Refused, "walls leave nothing of the width"),
        ("box", {**BOX, "rocks": "200 kg"}, Refused, "more room than the water"),
        ("box", {**BOX, "filled": "3 cm ± 5 cm"}, Refused, "plus-minus of 9.0.* L, so it is not known"),
        ("box", {**BOX, "sump": "5 gal"}, Refused, "US gallon"),
        ("box", {**BOX, "sump": ""}, Refused, "--sump is empty"),
    ],
)
def test_what_cannot_be_a_tank_is_refused(
    shape: str, options: dict[str, str], kind: type[Exception], says: str
) -> None:
    """An impossible or unclear tank is refused by the name of the option to give."""
    with pytest.raises(kind, match=says):
        shape_from_text(shape, **options)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({}, "no tank shape 'None'"),
        ({"shape": "box"}, "no length that can be read"),
        (
            {"shape": "box", "length": "60", "width": ["1", "1"], "filled": ["1", "1"]},
            "no length that can be read",
        ),
        (
            {"shape": "box", "length": ["nan", "1"], "width": ["1", "1"], "filled": ["1", "1"]},
            "length of the tank must be",
        ),
        (
            {"shape": "box", "length": ["x", "1"], "width": ["1", "1"], "filled": ["1", "1"]},
            "no length that can be read",
        ),
        (
            {"shape": "box", "length": ["60"], "width": ["1", "1"], "filled": ["1", "1"]},
            "no length that can be read",
        ),
        (
            {"shape": "box", "length": ["60", "1"], "width": ["30", "1"], "filled": ["30", "1"], "rocks": "litres"},
            "kept as 'l'; use one of mass_kg, litres",
        ),
        (
            {"shape": "cylinder", "diameter": ["50", "1"], "filled": ["30", "1"], "rocks": {"cups": ["1", "1"]}},
            "kept as 'cups'; use one of mass_kg, litres",
        ),
    ],
)
def test_a_damaged_table_is_refused(table: dict[str, Any], says: str) -> None:
    """A table that does not hold a tank is refused with a sentence, never a traceback."""
    with pytest.raises(Refused, match=says):
        net_volume(table)


def test_the_label_overdoses() -> None:
    """A dose for a label of 64.8 L in 54 L of water is 20 % too large; for a label of 27 L it is half."""
    volume = net_volume(box(filled="30 cm"))
    assert label_overdose_percent(64.8, volume) == pytest.approx(20)
    assert label_overdose_percent(27, volume) == pytest.approx(-50)
