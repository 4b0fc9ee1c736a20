"""How a dose in food was eaten: all of it, part of it or none, as a person saw it (needs F26, rules A6 and A9)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.failures import Refused, Usage
from quarantine.quantity import Quantity, read, show, show_significant, to

if TYPE_CHECKING:
    from quarantine.records.reads import Row, Rows

EATEN = ("all", "part", "none")


class Eaten(NamedTuple):
    """What a keeper said of it, as typed: one of :data:`EATEN`, or the grams that were left ("1.2 g")."""

    eaten: str | None = None
    uneaten: str | None = None


NOT_SAID = Eaten()


def eaten_data(dose: Mapping[str, Any], said: Eaten) -> dict[str, Any]:
    """What the record of a dose keeps of it; ``dose`` is the rest of that record.

    What was not eaten at all is no dose that counts (rule A9). Raises Usage for words that contradict each other or are
    of no dose in food, Refused for more left than there was.
    """
    if said == NOT_SAID:
        return {}
    if dose["route"] != "food":
        raise Usage("--eaten and --uneaten are of a dose in food; leave them out.")
    eaten = None if said.eaten is None else said.eaten.strip().casefold()
    if eaten is not None and eaten not in EATEN:
        raise Usage(f"How was it eaten? {said.eaten!r} is not one of {', '.join(EATEN)}.")
    left, offered = None, offered_grams(dose)
    if said.uneaten is not None:
        left = to(read(said.uneaten, "mass", "what was left"), "g")
    if left is not None and offered is not None and left > offered:
        raise Refused(
            f"{show(left)} g left are more than the {show(offered)} g that were offered: food out of the water is wet. "
            "Say that part or none was eaten instead; nothing was recorded."
        )
    found = eaten or ("all" if left == 0 else "none" if left == offered else "part")
    if left is not None and eaten is not None and (left == 0) != (eaten == "all"):
        raise Usage(f"{eaten.capitalize()} eaten and {show(left)} g left contradict each other; say one of them.")
    kept: dict[str, Any] = {} if not left else {"uneaten_grams": left}
    return {"eaten": found, "counts": found != "none", **kept}


def seen_later(dose: Mapping[str, Any], text: str) -> tuple[dict[str, Any], str]:
    """What a correction says of it: one of :data:`EATEN`, or the grams that were left; the change in words. Raises like
    :func:`eaten_data`."""
    said = Eaten(text) if text.strip().casefold() in EATEN else Eaten(None, text)
    data = {"uneaten_grams": None, **eaten_data(dose, said)}
    was = eaten_words(dose)
    now = {**dose, **data}
    return data, f"{was or 'not said'} -> {eaten_words(now)}. {told(now, None)}".rstrip()


def eaten_at_least_mg(dose: Mapping[str, Any]) -> Decimal | None:
    """Milligrams of the substance that were eaten at the least, rounded down: food out of the water is wet, and weighs
    more than it did. None where nobody knows."""
    mass, offered = Decimal(dose["mass_mg"]), offered_grams(dose)
    if dose.get("eaten") in ("all", "none"):
        return mass if dose["eaten"] == "all" else Decimal(0)
    if dose.get("eaten") is None or dose.get("uneaten_grams") is None or not offered:
        return None
    share = (offered - Decimal(dose["uneaten_grams"])) / offered
    return Decimal(show_significant(mass * share, 6, up=False))


def offered_grams(dose: Mapping[str, Any]) -> Decimal | None:
    """Grams of prepared food that were offered: the portion shown, by what was given of what it holds; None where none
    was shown."""
    if dose.get("food_grams") is None or dose.get("prepared") is None:
        return None
    given = to(Quantity(Decimal(dose["given"]), dose["given_unit"]), dose["prepared_unit"])
    return Decimal(show_significant(Decimal(dose["food_grams"]) * given / Decimal(dose["prepared"]), 9))


AFTERWARDS = {
    "shift": "it does not count as one of the course, which goes on a day longer for it",
    "reopen": "it does not count as one of the course, which the protocol begins again",
    "keep": "it does not count as one of the course, and the protocol does not make up for it: ask a veterinarian",
}
"""What follows from a dose that was not eaten, by what the template says of a dose that was missed (rule A11)."""

LATER = "say later how they ate it: quarantine correct ENTRY eaten=all (or part, none) --because WHY"


def told(dose: Mapping[str, Any], after_window: str | None) -> str:
    """What to do now, after a dose in food; "" after any other."""
    if dose["route"] != "food":
        return ""
    if dose.get("eaten") is None:
        return f"Whether it was eaten was not said: watch them, take out what is left, and {LATER}."
    if dose["eaten"] == "all":
        return ""
    now = "Take what is left out of the water now, and give no second portion today: a dose is never doubled."
    if dose["eaten"] == "none":
        follows = AFTERWARDS.get(after_window or "", "it does not count as a dose")
        return (
            f"Not eaten: {follows}. {now} Sign-off names it. The next one is held until a look says that they eat "
            "plain food; bitter food may go on being refused: then ask a veterinarian about another route."
        )
    return (
        f"Eaten in part: it counts as a dose, and sign-off names it as under its range. {now} The next one is held "
        "until a look says that they eat plain food."
    )


def eaten_words(dose: Mapping[str, Any]) -> str:
    """ "eaten in part, 1.2 g were left" of a dose in food on record; "" of any other."""
    if dose.get("route") != "food":
        return ""
    words = {"all": "eaten wholly", "part": "eaten in part", "none": "not eaten"}
    found = words.get(str(dose.get("eaten")), "whether it was eaten is not known")
    left = f", {show(Decimal(dose['uneaten_grams']))} g were left" if dose.get("uneaten_grams") is not None else ""
    ate = eaten_at_least_mg(dose) if dose.get("eaten") == "part" else None
    least = "" if ate is None else f", at least {show(ate)} mg of {dose['substance']} went in"
    return f"{found}{left}{least}"


def deviation(dose: Mapping[str, Any], at: datetime, zone: str) -> list[str]:
    """A dose in food that was not, or not wholly, eaten as a line for sign-off, as under-range is (rule C3)."""
    from quarantine.actions.desk import local_text

    if dose.get("route") != "food" or dose.get("eaten") == "all":
        return []
    what = "Deviation of a dose in food" if dose.get("eaten") else "Not known of a dose in food"
    return [
        f"{what}, {local_text(at, zone)}: {dose['given']} {dose['given_unit']} of {dose['substance']}, "
        f"{eaten_words(dose)}."
    ]


def after_window_of(rows: Rows, task: Row) -> str | None:
    """What the template of a task says of a dose that was missed."""
    from quarantine.actions.systems import frozen

    batch = next((b for b in rows.rows("batches") if b["id"] == task["batch"]), None)
    steps = frozen(rows, batch["copy_id"]).steps if batch else ()
    return next((step.after_window for step in steps if step.id == task["step"]), None)
