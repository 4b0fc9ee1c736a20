"""A template that names a dip or a dose in food: what it needs, and what it may not say."""

from __future__ import annotations

import pytest

from quarantine.protocol import ProtocolError, load, read, shipped

DIP, FOOD, BATH = "fresh-salt-dip", "fresh-metronidazole-food", "marine-praziquantel"


def problems(name: str, old: str, new: str) -> list[str]:
    """What is wrong with a shipped template in which one line is another."""
    text = shipped()[name].read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(ProtocolError) as caught:
        read(text.replace(old, new, 1), "mine.toml")
    return [f"{one.key}: {one.message}" for one in caught.value.problems]


@pytest.mark.parametrize("name", [DIP, FOOD, "fresh-fenbendazole-food"])
def test_the_shipped_ones_are_given_to_the_batch(name: str) -> None:
    """Nothing goes into the tank's water, so neither filter nor carbon is spoken of."""
    doses = [step for step in load(name).steps if step.treatment]
    assert doses
    for step in doses:
        assert step.treatment is not None
        assert step.for_ == "batch"
        assert (step.treatment.filter, step.treatment.off) == ("", ())
        assert step.treatment.water == ("vessel" if name == DIP else "food")


@pytest.mark.parametrize(
    ("name", "old", "new", "says"),
    [
        (DIP, 'water = "vessel"', 'water = "system"\nfilter = "running"', "its route is dip"),
        (FOOD, 'water = "food"', 'water = "tank"\nfilter = "running"', "its route is food"),
        (BATH, 'water = "system"', 'water = "vessel"', "its route is bath"),
        (BATH, 'filter = "running"\n', "", "running or off"),
        (DIP, 'water = "vessel"', 'water = "vessel"\nfilter = "running"', "no `filter`"),
        (FOOD, 'water = "food"', 'water = "food"\noff = ["carbon"]', "no `off`"),
        (DIP, 'longest = "1 min"', 'longest = "20 min"', "at most the 10 min of T01"),
        (DIP, 'longest = "1 min"', 'longest = "0 s"', "above zero"),
        (DIP, 'longest = "1 min"', 'longest = "1"', "no unit"),
        (FOOD, 'water = "food"', 'water = "food"\nlongest = "1 min"', "no `longest`"),
        (DIP, 'regimen = "T01"', 'regimen = "T02"', "veterinary instruction"),
        (FOOD, "times = 5", "times = 6", "at most the 5 doses of M02"),
        (FOOD, 'food"\nfor = "batch"', 'food"\nfor = "tank"', "the fish that are dipped or fed"),
    ],
)
def test_what_does_not_fit_is_named(name: str, old: str, new: str, says: str) -> None:
    """Each mistake with what was expected."""
    found = problems(name, old, new)
    assert any(says in one for one in found), found


def test_a_row_that_is_no_general_advice_passes_with_the_veterinarians_word() -> None:
    """T02 is on instruction: the keeper confirms it with the dose; `quarantine dose` holds it all the same."""
    text = shipped()[DIP].read_text(encoding="utf-8").replace('regimen = "T01"', 'regimen = "T02"')
    word = '[[step.before]]\nword = "A veterinarian instructed this, in writing"\n\n[[step.before]]\nday = 3'
    protocol = read(text.replace("[[step.before]]\nday = 3", word), "mine.toml")
    assert {step.treatment.regimen for step in protocol.steps if step.treatment} == {"T02"}
