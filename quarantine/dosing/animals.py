"""Which animals in the water must not get a substance, by the entries and by the lists of groups (rule 5.5, F11)."""

from __future__ import annotations

from typing import NamedTuple

from quarantine.dosing.instructing import how_to_pass
from quarantine.dosing.known import groups_known, kinds_of
from quarantine.dosing.setting import OUR_CHOICE, UNSOURCED, Hold, Instruction, Setting
from quarantine.dosing.words import cited
from quarantine.formulary import Regimen, Substance, keys_of
from quarantine.formulary.groups import meant

UNKNOWN_HOLDS = {"copper": ("fresh",), "hydrogen-peroxide": (), "malachite-green": ()}
"""Substances that kill a listed group at the dose itself, so that an animal on no list holds them until a keeper says
what it is; in which water (none named: any). Of the rest the card asks for a word. Our choice, no source."""


DRY = "no fish may be in it; ask a veterinarian for another treatment"


class Refusal(NamedTuple):
    """Why a group of animals must not get a substance."""

    text: str
    reference: str


def _refused(substance: Substance, regimen: Regimen, setting: Setting) -> tuple[dict[str, Refusal], Refusal | None]:
    """Group id to why it must not get this, from the entry and the lists; and why no animal at all may have it."""
    there = groups_known(setting.own_groups)
    found: dict[str, Refusal] = {}
    everyone: Refusal | None = None
    words = {substance.id, *substance.classes}
    for group in there.groups:
        for own in group.sensitive:
            if own.rule == "refuse" and words & set(own.to):
                cite = "; ".join(there.references[key].cite for key in keys_of(own.note.reference))
                status = OUR_CHOICE if own.own else UNSOURCED.get(own.note.status, OUR_CHOICE)
                found.setdefault(group.id, Refusal(own.note.text, cite or status))
    for line in (*regimen.sensitive, *substance.sensitive):
        if line.rule != "refuse":
            continue
        cite = cited(substance, line.note.reference) or UNSOURCED.get(line.note.status, OUR_CHOICE)
        who = meant(line.group, there)
        if who.everyone:
            everyone = everyone or Refusal(line.note.text, cite)
        for id_ in who.ids:
            found.setdefault(id_, Refusal(line.note.text, cite))
    return found, everyone


def species_hold(
    substance: Substance, regimen: Regimen, setting: Setting, said: Instruction | None = None
) -> Hold | None:
    """Animals in the water that must not get this. A species that is on no list is no answer: where that can kill it
    holds until a keeper says what it is, else the card asks (:func:`animals_to_confirm`)."""
    refused, everyone = _refused(substance, regimen, setting)
    if everyone is not None and regimen.tier != "refused":
        return Hold("sensitive animals", everyone.text.rstrip("."), None, None, everyone.reference, DRY)
    names = {group.id: group.name for group in groups_known(setting.own_groups).groups}
    for fish in setting.species:
        kinds = kinds_of(fish, setting)
        passed = said.passes if said is not None else ()
        for id_, why in refused.items():
            if kinds is not None and id_ in kinds and id_ not in passed:
                return Hold(
                    "sensitive animals",
                    f"{fish} belongs to {names[id_]}: {why.text.rstrip('.')}",
                    None,
                    None,
                    why.reference,
                    f"keep them out of this water, or ask a veterinarian{how_to_pass(regimen, setting, id_)}",
                )
    return _unlisted_hold(substance, regimen, setting, refused, names)


def _unlisted_hold(
    substance: Substance, regimen: Regimen, setting: Setting, refused: dict[str, Refusal], names: dict[str, str]
) -> Hold | None:
    waters = UNKNOWN_HOLDS.get(substance.id)
    if waters is None or (waters and setting.kind not in waters) or regimen.tier == "refused":
        return None
    for fish in setting.species:
        if kinds_of(fish, setting) is None:
            first = next(iter(refused.values()))
            who = "; ".join(f"{names[id_]} (--group {id_})" for id_ in refused)
            return Hold(
                "sensitive animals",
                f"{fish} is on no list of animals, and {substance.name} kills some: {who}",
                None,
                None,
                first.reference,
                f'say what it is: quarantine batch groups {setting.batch} "{fish}" --group ID, or --none when it is '
                "none of these; not sure: keep it out of this water",
            )
    return None


NO_FISH = ("birds", "flatworms")
"""Groups that no fish of a batch is one of, on whatever list it is: they are asked about as company of the tank."""


def animals_to_confirm(substance: Substance, regimen: Regimen, setting: Setting) -> tuple[str, ...]:
    """What the keeper confirms of animals that are on no list, by giving the dose."""
    unlisted = [fish for fish in setting.species if kinds_of(fish, setting) is None]
    refused = {id_: why for id_, why in _refused(substance, regimen, setting)[0].items() if id_ not in NO_FISH}
    if not unlisted or not refused:
        return ()
    names = {group.id: group.name for group in groups_known(setting.own_groups).groups}
    return (
        f"{' and '.join(unlisted)}, on no list of animals, is none of these, which must not get {substance.name}: "
        f"{'; '.join(names[id_] for id_ in refused)}",
    )


def animals_cautions(substance: Substance, regimen: Regimen, setting: Setting) -> tuple[str, ...]:
    """What the entry says, short of refusing, of animals that are in the water."""
    there = groups_known(setting.own_groups)
    found = []
    for line in (*regimen.sensitive, *substance.sensitive):
        ids = meant(line.group, there).ids
        here = [fish for fish in setting.species if ids & (kinds_of(fish, setting) or frozenset())]
        if line.rule == "caution" and here:
            found.append(f"{', '.join(here)} ({line.group}): {line.note.text}")
    return tuple(dict.fromkeys(found))
