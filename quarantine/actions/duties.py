"""What the keeper who acts may do (rule C19), and the short list of those who handle no medicine (F62). Light: `today`
reads this.

A keeper of whom no role was said may do all that a keeper may. A block here is about who, never about the fact: what a
sitter or a pupil really gave is recorded with `event dose --really` (rule C7).
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from quarantine.failures import Refused
from quarantine.records.reads import Row, Rows
from quarantine.roster import WITHOUT_MEDICINE, Person, may_do

if TYPE_CHECKING:
    from quarantine.actions.today import Day
    from quarantine.records.store import Act

WATCHES = ("look", "feed")
"""What a pupil does; beside it the temperature is read, which takes no reagent."""
WITHOUT_REAGENT = {"temperature"}


def people_of(rows: Rows) -> tuple[Person, ...]:
    """All keepers by name, each with the role that was said last."""
    roles = {row["keeper"]: row["role"] for row in rows.rows("roles")}
    people = (Person(k["id"], k["name"], roles.get(k["id"], "")) for k in rows.rows("keepers"))
    return tuple(sorted(people, key=lambda p: p.name.casefold()))


def role_named(rows: Rows, name: str) -> str:
    """The role of a keeper by name, capitals aside; "" where none was said, or nobody has that name."""
    roles = rows.rows("roles") if name else []
    if not roles:
        return ""
    wanted = name.strip().casefold()
    return next((p.role for p in people_of(rows) if p.name.casefold() == wanted), "")


def refuse_medicine(act: Act, what: str, hint: str = "") -> None:
    """Rule C19: sitters and pupils handle no medicine. Raises Refused, which names who may."""
    me, people = _acting(act)
    if me is None or me.role not in WITHOUT_MEDICINE:
        return
    others = [p.name for p in people if p.role not in WITHOUT_MEDICINE]
    raise Refused(
        f"{what} is not for {me.name}, who is on record as a {me.role}: sitters and pupils handle no medicine (rule "
        f"C19). {_who(others)}{hint}; nothing was recorded.",
        role=me.role,
        may=others,
    )


def refuse_dose(act: Act, task: Row) -> None:
    """The same for a task that is a dose, and what is done where it was given all the same."""
    if task["kind"] == "dose":
        given = f" If it was really given: quarantine event dose {task['tank_name']} REGIMEN --gave AMOUNT --really"
        refuse_medicine(act, f"{task['code']} ({task['title']})", given)


def refuse_task(act: Act, task: Row, *, really: bool) -> None:
    """Whose a task is: a dose is never a sitter's or a pupil's; another task that is for keepers or adults is asked
    about once, for what was really done is a fact (rule C7). Raises Refused."""
    refuse_dose(act, task)
    who = str(json.loads(task["detail"]).get("who", "anyone"))
    if really or who == "anyone":
        return
    me, people = _acting(act)
    if me is None or may_do(me.role, who, task["kind"]):
        return
    others = [p.name for p in people if may_do(p.role, who, task["kind"])]
    raise Refused(
        f"{task['code']} ({task['title']}) is for {who}s only, and {me.name} is on record as a{_n(me.role)} "
        f"{me.role}. {_who(others)} If {me.name} really did it, say so with --really; nothing was recorded.",
        role=me.role,
        may=others,
    )


def _n(role: str) -> str:
    return "n" if role == "adult" else ""


def _acting(act: Act) -> tuple[Person | None, tuple[Person, ...]]:
    """The keeper who acts, with a role; None where no role was ever said."""
    if not act.rows("roles"):
        return None, ()
    people = people_of(act)
    return next((p for p in people if p.id == act.keeper), None), people


def _who(names: list[str]) -> str:
    if not names:
        return "Nobody on record may: quarantine keeper role NAME adult."
    return f"{names[0] if len(names) == 1 else ', '.join(names[:-1]) + ' and ' + names[-1]} may."


def day_for(rows: Rows, day: Day, role: str) -> Day:
    """The list of a keeper who handles no medicine: what a sitter's sheet has; of that a pupil looks, feeds and reads
    the temperature. No amounts, no substances, nothing of what others do; what cannot wait says whom to call."""
    if role not in WITHOUT_MEDICINE:
        return day
    from quarantine.actions.sheets import for_anyone

    tasks = [item for item in day.tasks if for_anyone(item) and (role != "pupil" or watches(item.row))]
    call = [p.name for p in people_of(rows) if p.role not in WITHOUT_MEDICINE]
    says = f"Something is wrong here: call {' or '.join(call) or 'a keeper'} now, and put nothing into the water."
    tanks = [_bare(tank, says) for tank in day.tanks]
    return day._replace(tanks=tanks, tasks=[item._replace(conditioner=None) for item in tasks], tomorrow={})


def _bare(tank: dict[str, Any], says: str) -> dict[str, Any]:
    """A tank's line without what it says of doses, signs and events."""
    batches = f", {', '.join(tank['batches'])}" if tank["batches"] else ""
    return {**tank, "line": f"{tank['tank']}{batches}", "alerts": [says] if tank["alerts"] else []}


def watches(row: Row) -> bool:
    """Whether a task only looks at fish and water, or feeds."""
    if row["kind"] == "test":
        return set(json.loads(row["detail"])["reads"]) <= WITHOUT_REAGENT
    return row["kind"] in WATCHES
