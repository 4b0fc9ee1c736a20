"""A formulary entry with a mistake is refused, and says where and what."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from quarantine import formulary

FOLDER = Path(formulary.__file__).parent
METRONIDAZOLE = (FOLDER / "metronidazole.toml").read_text(encoding="utf-8")
SALT = (FOLDER / "sodium-chloride.toml").read_text(encoding="utf-8")
COPPER = (FOLDER / "copper.toml").read_text(encoding="utf-8")
FORMALIN = (FOLDER / "formalin.toml").read_text(encoding="utf-8")
TRANSFER = (FOLDER / "tank-transfer.toml").read_text(encoding="utf-8")
LOWERED = (FOLDER / "lowered-salinity.toml").read_text(encoding="utf-8")
PRAZIQUANTEL = (FOLDER / "praziquantel.toml").read_text(encoding="utf-8")


def broken(text: str, old: str, new: str, file: str) -> list[str]:
    """The mistakes found after one change to a sound entry; the change must really hit something."""
    assert old in text
    return formulary.check(text.replace(old, new, 1), file)


M = "metronidazole.toml"
SALT_FILE = "sodium-chloride.toml"
M01_TARGET = 'target = { low = "5 mg/L", high = "5 mg/L", default = "5 mg/L", reference = "S77" }'
M01_CEILING = 'amount = "5 mg/L", rows = ["M01", "M04"]'

ONE_MISTAKE = {
    "no reference on a target": (
        M01_TARGET,
        'target = { low = "5 mg/L", high = "5 mg/L", default = "5 mg/L" }',
        f"{M}: regimen M01: target.reference: a figure needs a reference",
    ),
    "no reference on a ceiling": (
        'hard = "25 mg/L, from memory", reference = "S77", status = "PROPOSAL"',
        'hard = "25 mg/L, from memory", status = "PROPOSAL"',
        f"{M}: regimen M01: ceilings[1].reference: a figure needs a reference",
    ),
    "no reference on a figure": (
        'amount = "18.9 mg", reference = "S77"',
        'amount = "18.9 mg"',
        f"{M}: regimen M01: figures[1].reference: a figure needs a reference",
    ),
    "no reference on a gap": (
        'minimum_gap = { amount = "2 d", reference = "S77" }',
        'minimum_gap = { amount = "2 d" }',
        f"{M}: regimen M01: minimum_gap.reference: a figure needs a reference",
    ),
    "no reference on a note that was read": (
        'nothing was read about marine water.", reference = "S77"',
        'nothing was read about marine water."',
        f"{M}: substance: water_limits[1].reference: a note with status READ-R needs a reference",
    ),
    "unknown key of the file": (
        'name = "Metronidazole"',
        'name = "Metronidazole"\nnote = "x"',
        f"{M}: substance: note: unknown key",
    ),
    "misspelt key of a regimen": (
        "course_ceiling",
        "course_celing",
        f"{M}: regimen M01: course_celing: unknown key; did you mean 'course_ceiling'?",
    ),
    "reference that is missing": (
        M01_TARGET,
        M01_TARGET.replace("S77", "S78"),
        f"{M}: regimen M01: target: there is no reference 'S78'; did you mean 'S77'?",
    ),
    "reference that nothing uses": (
        '[[reference]]\nkey = "S27"',
        '[[reference]]\nkey = "S99"\ncite = "Somebody, Something, 2000"\nread = "abstract"\n\n'
        '[[reference]]\nkey = "S27"',
        f"{M}: reference S99: key: nothing uses it",
    ),
    "reference that is there twice": (
        '[[reference]]\nkey = "S27"',
        '[[reference]]\nkey = "S55"\ncite = "Somebody, Something, 2000"\nread = "abstract"\n\n'
        '[[reference]]\nkey = "S27"',
        f"{M}: substance: reference[3].key: 'S55' is there twice",
    ),
    "reference without a year": (
        "Circular 716, year not stated",
        "Circular 716",
        f'{M}: substance: reference[4].cite: names no year; write "year not stated"',
    ),
    "low above high": (
        M01_TARGET,
        M01_TARGET.replace('low = "5 mg/L"', 'low = "6 mg/L"'),
        f"{M}: regimen M01: target.low: 6 mg/L is above high 5 mg/L",
    ),
    "low and high in two units": (
        M01_TARGET,
        M01_TARGET.replace('low = "5 mg/L"', 'low = "0.005 g/L"'),
        f"{M}: regimen M01: target.high: 5 mg/L and low 0.005 g/L have two units",
    ),
    "default under its bounds": (
        M01_TARGET,
        M01_TARGET.replace('default = "5 mg/L"', 'default = "4 mg/L"'),
        f"{M}: regimen M01: target.default: 4 mg/L is outside the bounds (low 5 mg/L)",
    ),
    "default over its bounds": (
        M01_TARGET,
        'target = { low = "3 mg/L", high = "4 mg/L", default = "5 mg/L", reference = "S77" }',
        f"{M}: regimen M01: target.default: 5 mg/L is outside the bounds (high 4 mg/L)",
    ),
    "default above the ceiling": (
        M01_CEILING,
        M01_CEILING.replace("5 mg/L", "4 mg/L"),
        f"{M}: regimen M01: target.default: 5 mg/L is above the ceiling 4 mg/L",
    ),
    "ceiling in another unit": (
        M01_CEILING,
        M01_CEILING.replace("5 mg/L", "5 g/L"),
        f"{M}: regimen M01: ceilings: 5 g/L and the target 5 mg/L have two units",
    ),
    "ceiling that calls itself published": (
        'hard = "25 mg/L, from memory", reference = "S77", status = "PROPOSAL"',
        'hard = "25 mg/L, from memory", reference = "S77", status = "READ"',
        f"{M}: regimen M01: ceilings[1].status: a ceiling is a proposal built on rows; its status is PROPOSAL",
    ),
    "no ceiling at all": (
        'ceilings = [\n  { amount = "5 mg/L", rows = ["M01", "M04"], hard = "25 mg/L, from memory", '
        'reference = "S77", status = "PROPOSAL" },\n]',
        "ceilings = []",
        f"{M}: regimen M01: ceilings: is missing",
    ),
    "two regimens with one id": (
        'id = "M03"',
        'id = "M01"',
        f"{M}: regimen M01: id: 'M01' is there twice",
    ),
    "ready on a regimen from memory": (
        'status = "MEM"\nreference = "MEM-M04"',
        'status = "MEM"\nreference = "MEM-M04"\n\n[[regimen]]\nid = "M09"\ntier = "ready"\npurpose = "x"\n'
        'route = "bath"\nwater = ["fresh"]\n'
        'target = { low = "5 mg/L", high = "5 mg/L", default = "5 mg/L", reference = "MEM-M04" }\n'
        'contact = "silent"\nrepeats = "silent"\nmodes = ["as published"]\n'
        'ceilings = [{ amount = "5 mg/L", rows = ["M01"], hard = "x", reference = "S77", status = "PROPOSAL" }]\n'
        'course_ceiling = "unknown"\neffective_minimum = "unknown"\nminimum_gap = "unknown"\nstatus = "MEM"\n'
        'reference = "MEM-M04"',
        f"{M}: regimen M09: status: a ready regimen must be READ or READ-R, not MEM",
    ),
    "memory dressed as reading": (
        M01_TARGET,
        M01_TARGET.replace("S77", "MEM-M04"),
        f"{M}: regimen M01: target: reference 'MEM-M04' is from memory, so the status is MEM, not READ-R",
    ),
    "unknown tier": (
        'tier = "ready"',
        'tier = "redy"',
        f"{M}: regimen M01: tier: 'redy' is not one of ready, trial, instruction, refused; did you mean 'ready'?",
    ),
    "unknown route": (
        'route = "bath"',
        'route = "injection"',
        f"{M}: regimen M01: route: 'injection' is not one of bath, prolonged, dip, food",
    ),
    "unknown water": (
        'water = ["fresh"]',
        'water = ["frsh"]',
        f"{M}: regimen M01: water: 'frsh' is not one of fresh, brackish, marine; did you mean 'fresh'?",
    ),
    "unknown mode of repeat": (
        'modes = ["as published", "replace removed"]',
        'modes = ["as it pleases"]',
        f"{M}: regimen M01: modes: 'as it pleases' is not one of as published",
    ),
    "unknown status": (
        'status = "READ-R"\nreference = "S77"',
        'status = "SEEN"\nreference = "S77"',
        f"{M}: regimen M01: status: 'SEEN' is not one of READ, READ-R",
    ),
    "bare number": (
        M01_TARGET,
        M01_TARGET.replace('low = "5 mg/L"', 'low = "5"'),
        f"{M}: regimen M01: target.low: ",
    ),
    "number that is no text": (
        M01_TARGET,
        M01_TARGET.replace('low = "5 mg/L"', "low = 5"),
        f"{M}: regimen M01: target.low: expected one line of text",
    ),
    "gap in a unit of mass": (
        'minimum_gap = { amount = "2 d", reference = "S77" }',
        'minimum_gap = { amount = "2 mg", reference = "S77" }',
        f"{M}: regimen M01: minimum_gap.amount: ",
    ),
    "effective minimum left out": (
        'effective_minimum = "unknown"\n',
        "",
        f'{M}: regimen M01: effective_minimum: expected a table or "unknown"',
    ),
    "effective minimum above the default": (
        'effective_minimum = "unknown"',
        'effective_minimum = { amount = "6 mg/L", reference = "S77" }',
        f"{M}: regimen M01: target.default: 5 mg/L is under the least that works, 6 mg/L",
    ),
    "contact left out": (
        'contact = "silent"\n',
        "",
        f'{M}: regimen M01: contact: expected a table or "silent"',
    ),
    "contact on food": (
        'route = "food"',
        'route = "food"\ncontact = "silent"',
        f"{M}: regimen M02: contact: food has no contact time",
    ),
    "feeding rate that does not agree": (
        "0.5 % of body weight/day",
        "1 % of body weight/day",
        f"{M}: regimen M02: food.feeding_rate: gives 100 mg/kg fish/day, not 50 mg/kg fish/day",
    ),
    "food content with a word for a number": (
        '"10 mg/g food"',
        '"ten mg/g food"',
        f"{M}: regimen M02: food.per_food.amount: 'ten mg/g food' has no plain number before its unit",
    ),
    "refused, yet with a dose": (
        'target = { low = "25 mg/L", high = "25 mg/L", reference = "MEM-M04" }',
        'target = { low = "25 mg/L", high = "25 mg/L", default = "25 mg/L", reference = "MEM-M04" }',
        f"{M}: regimen M04: target.default: a refused regimen offers no dose",
    ),
    "ready without a target": (
        M01_TARGET,
        'target = "unknown"',
        f"{M}: regimen M01: target: only a refused regimen may leave its target unknown",
    ),
    "disagreement with a row that is not there": (
        'disagreements = ["M02", "M03", "M04"]',
        'disagreements = ["M02", "M03", "N04"]',
        f"{M}: regimen M01: disagreements: there is no regimen 'N04'",
    ),
    "disagreement with itself": (
        'disagreements = ["M02", "M03", "M04"]',
        'disagreements = ["M01"]',
        f"{M}: regimen M01: disagreements: a regimen cannot disagree with itself",
    ),
    "interaction with a word nobody knows": (
        '{ with = "antibiotic"',
        '{ with = "antibiotics"',
        f"{M}: substance: incompatible[1].with: 'antibiotics' is not one of salt",
    ),
    "nothing said about ozone": (
        'item = "ozone"',
        'item = "uv"',
        f"{M}: substance: equipment: says nothing about ozone",
    ),
    "id that is not the file's name": (
        'id = "metronidazole"',
        'id = "metronidazol"',
        f"{M}: substance: id: 'metronidazol' is not the file's name",
    ),
    "handling left out": (
        "handling = [",
        "handling = []\ncautionary = [",
        f"{M}: substance: handling: is missing",
    ),
    "broken TOML": (
        'name = "Metronidazole"',
        'name = "Metronidazole',
        f"{M}: not TOML: ",
    ),
}


@pytest.mark.parametrize("case", ONE_MISTAKE)
def test_a_mistake_is_named_with_file_place_and_key(case: str) -> None:
    """Each mistake is told with the file, the regimen and the key."""
    old, new, expected = ONE_MISTAKE[case]
    problems = broken(METRONIDAZOLE, old, new, M)
    assert any(problem.startswith(expected) for problem in problems), problems


BY_THE_WATER = {
    "a rule without a reference": (
        COPPER,
        "copper.toml",
        'from = "50 mg/L", share = "1 %", reference = "S05"',
        'from = "50 mg/L", share = "1 %"',
        "regimen C01: water_rules[1].reference: a figure needs a reference",
    ),
    "a rule by something that is not read": (
        COPPER,
        "copper.toml",
        'by = "alkalinity"',
        'by = "alkalinty"',
        "regimen C01: water_rules[1].by: 'alkalinty' is not one of alkalinity, hardness, ph",
    ),
    "a rule without a beginning": (
        COPPER,
        "copper.toml",
        'from = "50 mg/L", share',
        "share",
        "regimen C01: water_rules[1].from: is missing",
    ),
    "a rule with two amounts": (
        COPPER,
        "copper.toml",
        'share = "1 %"',
        'share = "1 %", amount = "1 mg/L Cu"',
        "regimen C01: water_rules[1].amount: give either share or amount",
    ),
    "a rule in pounds": (
        COPPER,
        "copper.toml",
        'share = "1 %"',
        'share = "1 lb"',
        "regimen C01: water_rules[1].share: '1 lb' is not in one of the units %",
    ),
    "by the water without a rule": (
        COPPER,
        "copper.toml",
        "water_rules = [",
        "water_rules = []\nfigures_of_old = [",
        'regimen C01: target: "by the water" needs water_rules',
    ),
    "needs that leave a rule out": (
        COPPER,
        "copper.toml",
        'needs = ["alkalinity", "hardness", ',
        'needs = ["hardness", ',
        "regimen C01: needs: does not name alkalinity, which water_rules go by",
    ),
    "copper in two ways of counting": (
        COPPER,
        "copper.toml",
        'amount = "0.20 mg/L Cu", rows',
        'amount = "0.20 mg/L copper sulfate pentahydrate", rows',
        "regimen C04: ceilings: 0.20 mg/L copper sulfate pentahydrate and the target 0.18 mg/L Cu have two units",
    ),
    "a salt without its share": (
        COPPER,
        "copper.toml",
        'holds = "25.45 %"',
        'holds = "25.45"',
        "substance: salts[1].holds: '25.45' is not in one of the units %",
    ),
    "C17, a liquid in bare ppm": (
        FORMALIN,
        "formalin.toml",
        'low = "250 uL/L"',
        'low = "250 ppm"',
        "regimen F01: target.high: 250 uL/L and low 250 mg/L have two units",
    ),
    "a liquid whose strength is not asked for": (
        FORMALIN,
        "formalin.toml",
        'needs = ["strength of the product", "species"]',
        'needs = ["species"]',
        "regimen F01: needs: does not name strength of the product, which a liquid goes by",
    ),
    "a need nobody knows": (
        FORMALIN,
        "formalin.toml",
        '"strength of the product", "species"]',
        '"strength of the product", "specie"]',
        "regimen F01: needs: 'specie' is not one of strength of the product",
    ),
    "a trial that is a word": (
        FORMALIN,
        "formalin.toml",
        "trial_first = true",
        'trial_first = "yes"',
        "regimen F01: trial_first: expected true or false",
    ),
    "a ceiling for a group that is not there": (
        FORMALIN,
        "formalin.toml",
        'group = "fry", rows',
        'group = "fries", rows',
        "regimen F01: ceilings[4].group: 'fries' is not one of",
    ),
    "a ceiling up to a time that should be a temperature": (
        FORMALIN,
        "formalin.toml",
        'warmest = "21 °C"',
        'warmest = "21 min"',
        "regimen F01: ceilings[1].warmest: ",
    ),
    "a default above every ceiling by temperature": (
        FORMALIN,
        "formalin.toml",
        'target = { low = "250 uL/L", high = "250 uL/L", default = "250 uL/L"',
        'target = { low = "250 uL/L", high = "260 uL/L", default = "260 uL/L"',
        "regimen F01: target.default: 260 uL/L is above the ceiling 250 uL/L",
    ),
    "a move with a level": (
        TRANSFER,
        "tank-transfer.toml",
        'route = "move"',
        'route = "bath"',
        'regimen T18: target: "none" is for a move; here something is in the water',
    ),
    "a lowered salinity with a ceiling": (
        LOWERED,
        "lowered-salinity.toml",
        "ceilings = []",
        'ceilings = [{ amount = "10 g/L salinity", rows = ["T12"], hard = "x", reference = "S32", '
        'status = "PROPOSAL" }]',
        "regimen T12: ceilings: a lowered salinity has none",
    ),
}


@pytest.mark.parametrize("case", BY_THE_WATER)
def test_a_mistake_in_what_depends_on_the_water_is_named(case: str) -> None:
    """Rules by the water, liquids, copper, groups and moves: each mistake with its regimen and key."""
    text, file, old, new, expected = BY_THE_WATER[case]
    problems = broken(text, old, new, file)
    assert any(problem.startswith(f"{file}: {expected}") for problem in problems), problems


def test_all_mistakes_are_told_at_once() -> None:
    """Three mistakes in one file give three sentences, not the first only."""
    text = METRONIDAZOLE.replace('tier = "ready"', 'tier = "redy"', 1).replace('"18.9 mg"', '"18.9"')
    text = text.replace('loss = "possible"', 'loss = "perhaps"')
    problems = formulary.check(text, M)
    assert len(problems) == 3
    assert {problem.split(": ")[2] for problem in problems} == {"loss", "tier", "figures[1].amount"}


def test_a_ratio_is_not_compared_with_a_level() -> None:
    """The ceiling of the chloride ratio (row T11) is a salinity; only that is let through."""
    assert formulary.check(SALT, "sodium-chloride.toml") == []
    problems = broken(
        SALT, 'amount = "5 g/L", rows = ["T04", "T06", "T19"]', 'amount = "5 mg/L", rows = ["T04"]', SALT_FILE
    )
    assert f"{SALT_FILE}: regimen T04: ceilings: 5 mg/L and the target 5 g/L have two units" in problems


def test_limits_need_an_end_and_a_temperature_unit() -> None:
    """A limit without low and high says nothing; a temperature in another unit is refused."""
    file = "praziquantel.toml"
    problems = broken(PRAZIQUANTEL, 'what = "stocking", high = "60 g/L"', 'what = "stocking"', file)
    assert problems == [f"{file}: regimen Z04: limits[1].low: is missing; give low, high or both"]
    problems = broken(SALT, 'low = "17.3 °C"', 'low = "17.3 g/L"', SALT_FILE)
    assert problems[0].startswith(f"{SALT_FILE}: regimen T19: limits[1].low: ")


def test_an_entry_with_mistakes_is_not_loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """load() raises one sentence that names the file and all the mistakes, and gives nothing."""
    text = METRONIDAZOLE.replace('"18.9 mg"', '"18.9"').replace('loss = "possible"', 'loss = "perhaps"')
    (tmp_path / M).write_text(text, encoding="utf-8")
    monkeypatch.setattr(formulary, "__file__", str(tmp_path / "__init__.py"))
    formulary._entry.cache_clear()
    try:
        with pytest.raises(formulary.FormularyError) as caught:
            formulary.load("metronidazole")
    finally:
        formulary._entry.cache_clear()
    assert caught.value.sentence.startswith("The formulary file metronidazole.toml has 2 mistakes, so nothing")
    assert len(caught.value.problems) == 2


# Any value in any place ---------------------------------------------------------------------------


def as_toml(value: Any) -> str:
    """A value on one line of TOML; text is written as JSON, which TOML reads alike."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {as_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def written(data: dict[str, Any]) -> str:
    return "\n".join(f"{key} = {as_toml(value)}" for key, value in data.items())


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The path of every key and every item of a document."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [step for key, item in inner for step in ((*path, key), *places(item, (*path, key)))]


def changed(data: dict[str, Any], path: tuple[Any, ...], new: Any) -> dict[str, Any]:
    copy = json.loads(json.dumps(data))
    holder = copy
    for key in path[:-1]:
        holder = holder[key]
    if new is None:
        del holder[path[-1]]
    else:
        holder[path[-1]] = new
    return copy


@pytest.mark.parametrize("junk", [0, 1.5, True, "", "junk", "2\nmg/L", [], [1], ["junk"], {}, {"a": 1}, [[]], [{}]])
def test_no_value_in_any_place_breaks_the_check(junk: Any) -> None:
    """Whatever stands where a key should, the check answers with sentences and never breaks off."""
    data = tomllib.loads(METRONIDAZOLE)
    assert formulary.check(written(data), M) == []
    found = [formulary.check(written(changed(data, path, junk)), M) for path in places(data)]
    assert all(isinstance(problem, str) for problems in found for problem in problems)
    assert sum(bool(problems) for problems in found) > len(found) // 3


@pytest.mark.parametrize("junk", [0, True, "junk", [1], {"a": 1}])
def test_no_value_in_any_place_of_the_copper_entry_breaks_the_check(junk: Any) -> None:
    """The entry with rules by the water, salts and groups answers with sentences too, whatever stands in it."""
    data = tomllib.loads(COPPER)
    assert formulary.check(written(data), "copper.toml") == []
    chosen = [path for path in places(data) if path[:2] in (("regimen", 0), ("regimen", 3)) or path[0] == "salts"]
    for path in chosen:
        problems = formulary.check(written(changed(data, path, junk)), "copper.toml")
        assert all(isinstance(problem, str) for problem in problems)
    assert len(chosen) > 100


MAY_BE_LEFT_OUT = {"also", "cautions", "disagreements", "figures", "status", "url", "words", "high"}


def test_what_is_left_out_is_missed() -> None:
    """Every key of an entry but the few that are free is missed when it is left out."""
    data = tomllib.loads(METRONIDAZOLE)
    keys = [path for path in places(data) if isinstance(path[-1], str)]
    silent = [
        path
        for path in keys
        if path[-1] not in MAY_BE_LEFT_OUT and not formulary.check(written(changed(data, path, None)), M)
    ]
    # How often a course is given may be unknown; one end of a span of time is enough; a note from memory needs
    # no reference, and a refused regimen (M04, the fourth) no modes of repeat.
    assert {tuple(str(key) for key in path[-2:]) for path in silent} == {
        ("repeats", "times"),
        ("every", "low"),
        ("0", "reference"),
        ("3", "modes"),
    }
    assert [path for path in silent if path[-1] == "reference"] == [("regimen", 3, "cautions", 0, "reference")]
