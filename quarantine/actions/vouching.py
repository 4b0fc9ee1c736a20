"""What stands beside the amount of a dose: a witness who reads the scale blind (F61), and the reason for an amount
other than the one shown (F27)."""

from __future__ import annotations

import json
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.actions.claims import wants_witness
from quarantine.actions.feeding import NOT_SAID, Eaten, deviation, eaten_words
from quarantine.facts import DOSES
from quarantine.failures import Refused, Usage
from quarantine.quantity import UNITS, Quantity, read, show, show_significant, to
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows

if TYPE_CHECKING:
    from quarantine.records.store import Act


class Beside(NamedTuple):
    """What a keeper said beside the amount, as typed: the witness's name and the amount that the witness read, and the
    reason. ``kept``: what was recorded of all that when the dip that now ends was started; ``eaten``: how a dose in
    food was eaten."""

    witness: str | None = None
    typed: str | None = None
    because: str | None = None
    kept: dict[str, Any] | None = None
    eaten: Eaten = NOT_SAID


NOTHING_BESIDE = Beside()

KEPT = ("witness", "witness_typed", "witness_unit", "allowance", "because")
"""Names in the data of a dose."""


def refuse_beside(task: Row, said: Beside) -> None:
    """Raises Usage where something was said beside an amount and the task is no dose."""
    if said.eaten != NOT_SAID:
        raise Usage(f"{task['code']} ({task['title']}) is no dose in food: leave --eaten and --uneaten out.")
    if said != NOTHING_BESIDE:
        raise Usage(f"{task['code']} ({task['title']}) is no dose: leave --witness, --witness-typed and --because out.")


def vouched(act: Act, task: Row, shown: Quantity | None, given: Quantity, said: Beside) -> dict[str, Any]:
    """What the record of a dose keeps of its witness and of its reason.

    ``shown`` is the amount on the card, None where none was. Raises Refused where the template wants a witness and
    there is none, where the witness is who gives the dose or read another amount, and where the amount lies further
    from the one shown than the template allows and no reason was said.
    """
    if said.kept is not None:
        return said.kept
    data: dict[str, Any] = {}
    allowance = json.loads(task["detail"])["treatment"].get("allowance")
    if allowance is not None:
        data["allowance"] = allowance
        if shown is not None and not said.because and beyond(given, shown, allowance):
            raise Refused(
                f"{given} is {_percent_off(given, shown)} the {shown} that {task['code']} shows; its protocol allows "
                f"{allowance}. If that was given, say why: --because REASON. Nothing was recorded."
            )
    if said.because is not None:
        data["because"] = _plain(said.because)
    return {**data, **_witnessed(act, task, given, said)}


def _plain(text: str) -> str:
    reason = " ".join(text.split())
    if not reason or not reason.isprintable():
        raise Usage("--because needs the reason, in plain words.")
    return reason


def _witnessed(act: Act, task: Row, given: Quantity, said: Beside) -> dict[str, Any]:
    """The witness and what the witness read, compared with what the keeper says was given: equal or stopped."""
    from quarantine.actions.desk import named

    if said.witness is None and said.typed is None and not wants_witness(task):
        return {}
    label = f"{task['code']} ({task['title']})"
    if said.witness is None:
        raise Refused(
            f"{label} wants a witness: another keeper on record, who reads the amount off the scale without seeing "
            "yours. Say --witness NAME, and at a terminal they are asked for it; elsewhere give it as --witness-typed "
            "AMOUNT. If it is in the water already and nobody saw it: quarantine event dose."
        )
    witness = named(act.rows("keepers"), "keeper", said.witness, " (add one: quarantine keeper add NAME)")
    if witness["id"] == act.keeper:
        raise Refused(f"{witness['name']} gives this dose and cannot be its witness too: name another keeper.")
    if said.typed is None:
        raise Refused(
            f"What did {witness['name']} read off the scale? At a terminal they are asked; here there is none: say "
            "--witness-typed AMOUNT, typed by them without seeing yours."
        )
    seen = read(said.typed, UNITS[given.unit].kind, "--witness-typed")
    if to(seen, given.unit) != given.value:
        raise Refused(
            f"Stop: {witness['name']} read {seen}, and {given} is what would be recorded for {label}. Give nothing; "
            "measure it again, and both read it again. Nothing was recorded.",
            **{f"witness_{seen.unit}": show(seen.value), f"given_{given.unit}": show(given.value)},
        )
    return {"witness": witness["id"], "witness_typed": seen.value, "witness_unit": seen.unit}


def vouched_lines(rows: Rows, data: dict[str, Any]) -> list[str]:
    """What a dose on record keeps of its witness and of its reason, a line each."""
    lines = []
    if "witness" in data:
        name = rows.rows("keeper_name", id=data["witness"])[0]["name"]
        read_ = Quantity(Decimal(data["witness_typed"]), data["witness_unit"])
        lines.append(f"witness: {name}, who read {read_} without seeing the other figure")
    if "because" in data:
        lines.append(f"another amount, because: {data['because']}")
    return [*lines, words] if (words := eaten_words(data)) else lines


def beyond(given: Quantity, shown: Quantity, allowance: str) -> bool:
    """Whether an amount lies further from the one shown than the allowance ("10 %"); exactly at it does not."""
    share = Decimal(allowance.removesuffix("%").strip()) / 100
    return abs(to(given, shown.unit) - shown.value) > share * shown.value


def _percent_off(given: Quantity, shown: Quantity) -> str:
    """ "12 % more than", never rounded onto the allowance: three digits, away from nothing."""
    off = (to(given, shown.unit) - shown.value) / shown.value * 100
    return f"{show_significant(abs(off), 3, up=True)} % {'more' if off > 0 else 'less'} than"


def deviations_of(rows: Rows, batch: Row, now: datetime) -> list[str]:
    """The doses of a batch's water, since it arrived, whose amount lay outside what the protocol allows, that were in
    food and not eaten, or that one gave who had not acknowledged the cautions: a line each, for sign-off. A dose that
    was corrected is judged by what stands. Moves that were made though a check of theirs was not met follow."""
    from quarantine.actions.crossing import move_deviations
    from quarantine.actions.desk import local_text

    found = rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    lines = []
    for row in sorted(found, key=lambda r: (r["happened_at"], r["entered_at"], r["id"])):
        data = json.loads(row["data"])
        at = instant(row["happened_at"])
        if row["kind"] not in DOSES or at > now or at < instant(batch["arrived_at"]):
            continue
        lines += deviation(data, at, batch["zone"])
        if data.get("unacknowledged"):
            who = rows.rows("keeper_name", id=row["keeper"])[0]["name"]
            lines.append(
                f"Deviation of a dose, {local_text(at, batch['zone'])}: {data['given']} {data['given_unit']} of "
                f"{data['substance']} given by {who}, who had not acknowledged the cautions of "
                f"{data['unacknowledged']} (rule C19)."
            )
        if data.get("allowance") is None or data.get("prepared") is None:
            continue
        given = Quantity(Decimal(data["given"]), data["given_unit"])
        shown = Quantity(Decimal(data["prepared"]), data["prepared_unit"])
        if beyond(given, shown, data["allowance"]):
            off = f"{_percent_off(given, shown)} the {shown} shown (allowed: {data['allowance']})"
            lines.append(
                f"Deviation of a dose, {local_text(at, batch['zone'])}: {given} of {data['substance']} given, {off}: "
                f"{data.get('because') or 'no reason was said'}."
            )
    return [*lines, *move_deviations(rows, batch, now)]
