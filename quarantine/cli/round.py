"""The daily round: the due work tank by tank, a screen each, in short keys; one transaction a tank."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli.asking import Asking, Stopped
from quarantine.cli.session import now, session
from quarantine.failures import Failure, Refused

if TYPE_CHECKING:
    from quarantine.actions.rounds import Card, Item, Performed, Saw, Stop
    from quarantine.actions.today import Listed


def round(
    site: Annotated[str | None, typer.Option(help="The tanks of one site only.")] = None,
    on: Annotated[str | None, typer.Option(help="A day that has been, YYYY-MM-DD; its times are asked.")] = None,
) -> None:
    from quarantine.actions.rounds import make_ready, open_record
    from quarantine.cli.today import read_day

    walk = _Round(site, read_day(on, "--on") if on else None)
    open_record(session().desk())
    make_ready(session().desk(), walk.stops())  # a wrong site, day or keeper is refused before anything is asked
    stopped = walk.walk()
    document, lines = walk.summary()
    if stopped is not None and stopped.ended:
        for line in lines:
            walk.asking.say(line)
        written = f"Written before: {', '.join(walk.written)}." if walk.written else "Nothing was written."
        raise Refused(
            f"The input ended before {walk.at_tank} was confirmed, and nothing of it was written. {written} "
            "A round reads what is typed, at a terminal or from a pipe.",
            written=list(walk.written),
        )
    session().emit(document, lines)


class _Notes:
    """What was typed at one tank and is not written yet."""

    def __init__(self) -> None:
        from quarantine.actions.rounds import Saw

        self.saw: Saw = Saw()
        self.answers: dict[str, Item] = {}
        self.at: str | None = None


_BACK, _ON = -1, 1
HELP_STEP = (
    "y       done",
    "as shown   typed out: exactly the amount",
    "3.4 g   the amount that was given",
    "x WHY   skipped, with the reason",
    "really  it is so, though it looks wrong",
    "Enter   leaves it open",
)
HELP_ALL = ("b       back", "q       stop; what is written stays")


class _Round:
    """A round under way: which tanks were written, and what was typed at the others."""

    def __init__(self, site: str | None, on: date | None) -> None:
        self.site = site
        self.on = on
        self.asking = Asking()
        self.written: dict[str, list[str]] = {}
        self.at_tank = "the first tank"
        self._notes: dict[str, _Notes] = {}

    def stops(self, tank: str | None = None) -> list[Stop]:
        from quarantine.actions.rounds import read_stops

        with session().reader() as rows:
            who = session().who()
            return read_stops(rows, session().home(), now(), on=self.on, site=self.site, tank=tank, who=who)

    def walk(self) -> Stopped | None:
        """Tank by tank; how it was stopped, None when it went through."""
        stops = self.stops()
        place, came = 0, _ON
        try:
            while place < len(stops):
                stop = next((s for s in self.stops(stops[place].tank) if s.tank_id == stops[place].tank_id), None)
                if stop is None:
                    self.asking.say("", f"Nothing is due in {stops[place].tank} any more.")
                    step = _ON
                else:
                    self._between(stops, place, came)
                    step = self._visit(stop, f"{place + 1} of {len(stops)}")
                came = step
                if place + step < 0:
                    self.asking.say("This is the first tank.")
                place = max(0, place + step)
        except Stopped as stopped:
            return stopped
        return None

    def _between(self, stops: list[Stop], place: int, came: int) -> None:
        before = place - came
        if 0 <= before < len(stops) and before != place and stops[before].system != stops[place].system:
            self.asking.say("", "-- Wash hands; other net and siphon. --")

    # --- one tank ----------------------------------------------------------------------------------------

    def _visit(self, stop: Stop, number: str) -> int:
        """One tank: what was seen, each further task, then what will be written. The way on: _ON or _BACK."""
        from quarantine.cli.today import when_due

        self.at_tank = stop.tank
        notes = self._notes.setdefault(stop.tank_id, _Notes())
        notes.answers = {c: i for c, i in notes.answers.items() if c in [s.row["code"] for s in stop.steps]}
        due = [f"  {i.row['code']} {i.row['title']}{when_due(i)}" for i in (*stop.daily, *stop.steps)]
        self.asking.say("", f"== {number}: {stop.line}", *due)
        if stop.missed:
            self.asking.say(f"  Missed on {', '.join(stop.missed)}: quarantine round --on DAY, or quarantine skip.")
        n = 0 if notes.at or not self._past(stop) else -1
        while n <= len(stop.steps) + 1:
            try:
                n += self._ask(stop, notes, n)
            except Failure as failure:  # the record has changed since, by another keeper
                self.asking.complain(failure)
                n = 0
            if n < (-1 if self._past(stop) else 0):
                return _BACK
        return _ON

    def _ask(self, stop: Stop, notes: _Notes, n: int) -> int:
        """Question ``n`` of a tank: -1 when, 0 what was seen, then each step, at last whether to write it."""
        if n == -1:
            return self._ask_time(stop, notes)
        if n == 0:
            return self._ask_seen(stop, notes)
        return self._ask_step(stop, notes, stop.steps[n - 1]) if n <= len(stop.steps) else self._review(stop, notes)

    def _past(self, stop: Stop) -> bool:
        from quarantine.facts import local_day

        return self.on is not None and self.on != local_day(now(), stop.zone)

    def _ask_time(self, stop: Stop, notes: _Notes) -> int:
        from quarantine.actions.desk import when
        from quarantine.actions.rounds import read_time

        while True:
            self.asking.say(f"When were you there, on {self.on}? HH:MM")
            text = self.asking.ask()
            if text == "b":
                return _BACK
            try:
                at = f"{self.on} {read_time(text)}"
                when(at, stop.zone, now(), what="The time")
            except Failure as failure:
                self.asking.complain(failure)
                continue
            notes.at = at
            return _ON

    def _ask_seen(self, stop: Stop, notes: _Notes) -> int:
        """Lines of what was seen and read, until an empty one; each is answered with what is taken so far."""
        from quarantine.actions.rounds import KEYS, Saw, read_saw, saw_words

        look_due = any(item.row["kind"] == "look" for item in stop.daily)
        self.asking.say("Seen, appetite, signs, readings; ? for help." if look_due else "Seen or read? Enter goes on.")
        if notes.saw != Saw():
            self.asking.say(f"So far: {saw_words(notes.saw)}. Enter goes on.")
        while True:
            text = self.asking.ask()
            key = text.casefold()
            if key == "b":
                return _BACK
            if key == "?":
                self.asking.say(*KEYS, "Enter   goes on", *HELP_ALL)
                continue
            if key == "c":
                notes.saw = Saw()
                self.asking.say("Begun again.")
                continue
            if not text and look_due and notes.saw == Saw():
                self.asking.say("How many did you see? Type it; x when you did not look.")
                continue
            try:
                if not text:
                    self._try(stop, notes)
                    return _ON
                notes.saw = read_saw(text, notes.saw, stop.signs)
                if key == "x" or key.startswith("x "):
                    self._try(stop, notes)
                    return _ON
                self.asking.say(f"So far: {saw_words(notes.saw)}. Enter goes on.")
            except Failure as failure:
                self.asking.complain(failure)

    def _ask_step(self, stop: Stop, notes: _Notes, item: Listed) -> int:
        """One chore, change or dose, with its card for the water as it is after what was typed before."""
        code = item.row["code"]
        before = notes.answers.pop(code, None)
        card = self._card(stop, notes, code)
        self.asking.say("", *_step_lines(item, card))
        last: Item | None = None
        while True:
            text = self.asking.ask()
            key = text.casefold()
            if key == "b":
                notes.answers |= {} if before is None else {code: before}
                return _BACK
            if key == "?":
                self.asking.say(*HELP_STEP, *HELP_ALL)
                continue
            if not text:
                self.asking.say(f"{code} stays open.")
                return _ON
            if key == "really" and last is not None:
                answer: Item | None = last._replace(really=True)
            else:
                answer = self._answer(text, item, card, notes.at)
            if answer is None:
                continue
            last = answer
            try:
                self._try(stop, notes, answer)
            except Failure as failure:
                self.asking.complain(failure)
                continue
            notes.answers[code] = answer
            return _ON

    def _card(self, stop: Stop, notes: _Notes, code: str) -> Card:
        from quarantine.actions.rounds import Faulty, card_after

        try:
            return card_after(session().desk(), _items(stop, notes), code, notes.at)
        except Faulty as faulty:
            raise faulty.failure from None

    def _answer(self, text: str, item: Listed, card: Card, at: str | None) -> Item | None:
        """What an answer means; None when it does not read, which is said."""
        from quarantine.actions.rounds import Item, by_itself

        key, code = text.casefold(), item.row["code"]
        if key.split()[0] == "x":
            if key == "x":
                self.asking.say("Why? x and the reason skips it; Enter leaves it open.")
                return None
            return Item(codes=(code,), because=text.partition(" ")[2], at=at)
        if apart := by_itself(item.row):
            self.asking.say(apart, "Enter leaves it open.")
            return None
        if item.row["kind"] == "chore":
            if key in ("y", "yes"):
                return Item(codes=(code,), at=at)
            self.asking.say("y when it is done, x and the reason, or Enter to leave it open.")
            return None
        if key == "as shown":
            if card.shown() is None:
                self.asking.say("No amount is shown; type the one that was really given, or Enter to leave it open.")
                return None
            return Item(codes=(code,), gave=card.shown(), at=at)
        if not text[0].isdigit():
            self.asking.say('The amount that was given with its unit, or "as shown" typed out; Enter leaves it open.')
            return None
        return Item(codes=(code,), gave=text, at=at)

    def _try(self, stop: Stop, notes: _Notes, *more: Item) -> Performed:
        """Everything typed at this tank, tried and taken back. Raises the Failure of what is refused."""
        from quarantine.actions.rounds import Faulty, perform

        watch = [item.row["code"] for item in (*stop.daily, *stop.steps)]
        desk = session().desk()._replace(dry_run=True)
        try:
            return perform(desk, [*_items(stop, notes), *more], kind=_kind(), watch=watch)
        except Faulty as faulty:
            raise faulty.failure from None

    def _review(self, stop: Stop, notes: _Notes) -> int:
        """What will be written, shown; then written when it is confirmed."""
        from quarantine.actions.rounds import Faulty, perform

        made = self._try(stop, notes)
        shown = told(_items(stop, notes), made)
        left = [f"Left open: {row['code']} {row['title']}" for row in made.left]
        if not shown:
            self.asking.say("", f"{stop.tank}: nothing to write.", *left)
            return _ON
        self.asking.say("", f"{stop.tank}, to be written:", *[f"  {line}" for line in shown], *left)
        while True:
            self.asking.say("Write it? y writes, b goes back.")
            key = self.asking.ask().casefold()
            if key == "b":
                return _BACK
            if key not in ("y", "yes"):
                continue
            items = _items(stop, notes)
            try:
                done = perform(session().desk(), items, kind=_kind())
            except Faulty as faulty:
                self.asking.say(f"Nothing of {stop.tank} was written.")
                self.asking.complain(faulty.failure)
                return _BACK
            said = told(items, done)
            known = {_timeless(line) for line in shown}
            news = [f"  {line}" for line in said if _timeless(line) not in known]
            self.asking.say("Dry run: nothing was written." if session().dry_run else "Written.", *news)
            self.written[stop.tank] = said
            del self._notes[stop.tank_id]
            return _ON

    # --- the end -----------------------------------------------------------------------------------------

    def summary(self) -> tuple[dict[str, Any], list[str]]:
        """What was written, and what is still open."""
        left = [
            (stop.tank, item.row["code"], item.row["title"])
            for stop in self.stops()
            for item in (*stop.daily, *stop.steps)
        ]
        lines = ["", f"Written: {', '.join(self.written) or 'nothing'}."]
        if not left:
            lines.append("Nothing is left open.")
        else:
            lines += ["Left open; the next round goes on with it:"]
            lines += [f"  {tank}: {code} {title}" for tank, code, title in left]
        document = {
            "written": [{"tank": tank, "says": says} for tank, says in self.written.items()],
            "left": [{"tank": tank, "code": code, "title": title} for tank, code, title in left],
        }
        return document, lines


def _kind() -> str:
    from quarantine.actions.rounds import ROUND_KIND

    return ROUND_KIND


def _items(stop: Stop, notes: _Notes) -> list[Item]:
    """What was typed at a tank as what is to be written, in the order of rule C11."""
    from quarantine.actions.rounds import Item, Saw

    items = [Item(tank=stop.tank, saw=notes.saw, at=notes.at)] if notes.saw._replace(left=False) != Saw() else []
    if notes.saw.because and stop.daily:
        codes = tuple(item.row["code"] for item in stop.daily)
        items.append(Item(codes=codes, because=notes.saw.because, at=notes.at, if_open=True))
    return [*items, *[notes.answers[i.row["code"]] for i in stop.steps if i.row["code"] in notes.answers]]


def _step_lines(item: Listed, card: Card) -> list[str]:
    """One task as it is asked: what to do, what has to be true first, the card, the question."""
    import json

    from quarantine.actions.rounds import by_itself
    from quarantine.cli.render import card_lines
    from quarantine.cli.today import when_due

    detail = json.loads(item.row["detail"])
    lines = [f"{item.row['code']} {item.row['title']}{when_due(item)}"]
    if card.proposal is not None:
        lines += [f"  {line}" for line in card_lines(card.proposal)]
    else:
        lines += [f"  Confirm: {c['value']}" for c in detail["before"] if c["kind"] == "word"]
    if card.litres is not None:
        lines.append(f"  about {card.shown()} of the water that is there")
    if item.conditioner is not None:
        from quarantine.actions.conditioning import card_lines as conditioner_lines

        lines += [f"  {line}" for line in conditioner_lines(item.conditioner, item.row["water"])]
    lines += [f"  {detail['note']}"] if detail["note"] else []
    if item.row["kind"] == "chore":
        return [*lines, "Done? y; Enter leaves it open; ? for help."]
    if apart := by_itself(item.row):
        return [*lines, apart, "Enter leaves it open; x and the reason skips it."]
    asked = "How much was given?" if item.row["kind"] == "dose" else "How many litres were changed?"
    how = 'Type it, or "as shown"' if card.shown() else "No amount is shown: type what was really given"
    return [*lines, f"{asked} {how}; Enter leaves it open; ? for help."]


def told(items: Sequence[Item], made: Performed) -> list[str]:
    """What was written, in lines."""
    from quarantine.actions.rounds import UNCOUNTED

    lines = [line for item, result in zip(items, made.results, strict=True) for line in result_lines(item, result)]
    return [*lines, *([UNCOUNTED] if made.uncounted else [])]


def result_lines(item: Item, result: Any) -> list[str]:
    """One action's result in the lines of its own command; of a look also what that leaves out."""
    from quarantine.actions.noting import Noted
    from quarantine.actions.rounds import Saw, saw_words
    from quarantine.actions.work import Skipped
    from quarantine.cli.daily import done_lines

    if result is None:
        return []
    if isinstance(result, Noted):
        assert item.saw is not None
        more = item.saw._replace(seen=None, dead=0, readings=(), left=False, because="", really=False)
        first, *rest = result.lines
        return [first, *([saw_words(more)] if more != Saw() else []), *rest]
    if isinstance(result, Skipped):
        return [*[f"{task['code']}: {task['says']}." for task in result.tasks], *result.tasks[-1]["moved"]]
    return [line for task in result for line in done_lines(task)]


def _timeless(line: str) -> str:
    return re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d", "", line)
