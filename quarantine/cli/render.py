"""Lines that several commands share: a dose card, a hold."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from quarantine.dosing import Proposal, headline, sized_for
from quarantine.quantity import show


def proposal_lines(proposal: Proposal) -> list[str]:
    """A dose card: the amount first; water, target and what it gives; working; how to measure and give it; the checks
    that it waited for; cautions; source."""
    dose, hold = proposal.dose, proposal.hold
    if hold is not None:
        lines = [f"HELD: {hold.says}.", f"  What to do: {hold.remedy}.", f"  Rule: {hold.rule}."]
        if hold.reference:
            lines.append(f"  Source: {hold.reference}")
        if proposal.instruction:
            lines.append(f"  {proposal.instruction}")
        return [*lines, *[f"  Caution: {c}" for c in dose.cautions[-1:]]]
    assert dose.add is not None
    assert dose.gives_low is not None
    assert dose.gives_high is not None
    lines = [
        headline(dose),
        f"  {sized_for(dose)}; target {show(dose.target)} {dose.target_unit}; "
        f"gives {show(dose.gives_low)} to {show(dose.gives_high)} {dose.gives_unit}",
    ]
    lines += [f"  Confirm: {words}" for words in proposal.confirm]
    if proposal.advice:
        lines.append(f"  {proposal.advice}")
    lines += [f"  {line}" for line in (*proposal.working, *proposal.how)]
    if proposal.checks:
        lines.append(f"  {proposal.checks}")
    lines += [f"  Caution: {caution}" for caution in cautions_once(dose.cautions)]
    lines.append(f"  Source ({dose.regimen}): {dose.reference}")
    return lines


def given_line(given: dict[str, Any]) -> str:
    """The three facts of a dose: planned, prepared (nothing was, under a hold) and given."""
    prepared = "nothing shown" if given.get("prepared") is None else _amount(given, "prepared")
    return f"planned {_amount(given, 'target')}, prepared {prepared}, given {_amount(given, 'given')}"


def _amount(given: dict[str, Any], name: str) -> str:
    return f"{show(Decimal(given[name]))} {given[f'{name}_unit']}"


def cautions_once(cautions: tuple[str, ...]) -> list[str]:
    """Each caution once: one whose words stand in another is left to that one."""
    words = [caution.rstrip(".") for caution in dict.fromkeys(cautions)]
    return [
        caution
        for at, caution in enumerate(dict.fromkeys(cautions))
        if not any(words[at] in other for i, other in enumerate(words) if i != at)
    ]


def card_lines(proposal: Proposal) -> list[str]:
    """The card as today's list shows it: without the working, which `why` has."""
    working = {f"  {line}" for line in proposal.working}
    return [line for line in proposal_lines(proposal) if line not in working]
