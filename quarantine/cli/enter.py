"""A returned paper sheet, typed in: as it happened then, entered now."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

from quarantine.cli.asking import Asking, Stopped
from quarantine.cli.session import now, session
from quarantine.failures import Failure, Refused

if TYPE_CHECKING:
    from datetime import date, datetime

    from quarantine.actions.rounds import Entered, Performed, Sheet


HELP = (
    "Q1 12 3 n        tank, seen, appetite,",
    "                 no signs",
    "Q1 12 s flashing   a sign",
    "Q1 temp=25.5C    readings",
    "K7MP 09:10       a task's code, the time",
    "DX4KQ 3.4 g 09:15   the amount given",
    "DX4KQ 3.4 g witness NAME 3.4 g because WHY 09:15   if the sheet says more",
    "K7MP x no time   not done, and why",
    "really           at the end: it is so",
    "Enter            all lines are typed",
    "q                stop, nothing is written",
)


class _Line(NamedTuple):
    """A line as typed, and what it means; or why it does not read."""

    number: int
    text: str
    entered: Entered | None
    failure: Failure | None


def enter(
    on: Annotated[str | None, typer.Option(help="The day of the sheet, YYYY-MM-DD; asked if left out.")] = None,
) -> None:
    asking = Asking()
    try:
        document, lines = _Entering(asking).enter(on)
    except Stopped as stopped:
        if stopped.ended:
            raise Refused(
                "The input ended before the sheet was confirmed; nothing was written. The lines of a sheet are read "
                "at a terminal or from a pipe: an empty line ends them, then y writes them."
            ) from None
        asking.say("Stopped; nothing was written.")
        raise typer.Exit(130) from None
    session().emit(document, lines)


class _Entering:
    """A sheet under way."""

    def __init__(self, asking: Asking) -> None:
        self.asking = asking
        self.by = ""

    def enter(self, on: str | None) -> tuple[dict[str, Any], list[str]]:
        from quarantine.actions.rounds import Sheet, open_keeper, open_record

        open_record(session().desk())
        typist = open_keeper(session().desk())  # who types it in is known, or refused, before anything is asked
        day = self._day(on)
        self.by = self._who(typist)
        sheet = Sheet(day, self._time(), now())
        self.asking.say("Lines as on the sheet; ? for help; an empty line when all are typed.")
        lines: list[_Line] = []
        while True:
            lines += self._lines(sheet, lines)
            lines, made = self._mended(lines, sheet)
            if not lines:
                return {"day": day, "by": self.by, "entered_by": typist, "lines": []}, ["Nothing was written."]
            shown = self._shown(lines, made)
            self.asking.say("", f"{day}, done by {self.by}, entered by {typist}:", *shown)
            if self._confirmed():
                break
            self.asking.say("More lines; an empty line when all are typed.")
        return self._write(lines, day, typist)

    # --- what is asked once ------------------------------------------------------------------------------

    def _day(self, on: str | None) -> date:
        if on:
            return _day_that_was(on, "--on")
        while True:
            self.asking.say("The day of the sheet, YYYY-MM-DD?")
            try:
                return _day_that_was(self.asking.ask(), "The day")
            except Failure as failure:
                self.asking.complain(failure)

    def _who(self, typist: str) -> str:
        """Who did the work: asked where there are several keepers."""
        from quarantine.actions.rounds import open_keeper

        with session().reader() as rows:
            known = sorted((row["name"] for row in rows.rows("keepers")), key=str.casefold)
        while len(known) > 1:
            self.asking.say(f"Who did the work? {', '.join(known)}")
            try:
                return open_keeper(session().desk(), self.asking.ask())
            except Failure as failure:
                self.asking.complain(failure)
        return typist

    def _time(self) -> str:
        from quarantine.actions.rounds import read_time

        while True:
            self.asking.say("The time of lines that have none, HH:MM? Enter: each line has its own.")
            text = self.asking.ask()
            try:
                return read_time(text) if text else ""
            except Failure as failure:
                self.asking.complain(failure)

    # --- the lines ---------------------------------------------------------------------------------------

    def _lines(self, sheet: Sheet, before: list[_Line]) -> list[_Line]:
        """Typed lines until an empty one, numbered on from those ``before``. One that does not read is said at once
        and kept to be corrected."""
        lines: list[_Line] = []
        while text := self.asking.ask():
            if text == "?":
                self.asking.say(*HELP)
                continue
            line = self._read(max((one.number for one in (*before, *lines)), default=0) + 1, text, sheet)
            if line.failure is not None:
                self.asking.complain(line.failure)
                self.asking.say("Kept; it is shown again at the end.")
            lines.append(line)
        return lines

    def _read(self, number: int, text: str, sheet: Sheet) -> _Line:
        from quarantine.actions.rounds import read_entered

        try:
            with session().reader() as rows:
                return _Line(number, text, read_entered(text, rows, sheet), None)
        except Failure as failure:
            return _Line(number, text, None, failure)

    def _mended(self, lines: list[_Line], sheet: Sheet) -> tuple[list[_Line], Performed]:
        """The lines once each reads and fits the record: what does not is shown again, corrected or left out."""
        while True:
            lines, made = self._judged(lines)
            if made is not None:
                return lines, made
            for place, line in enumerate(lines):
                if line.failure is not None:
                    lines[place] = self._again(line, sheet)
            lines = [line for line in lines if line.text]

    def _judged(self, lines: list[_Line]) -> tuple[list[_Line], Performed | None]:
        """The lines with what the record refuses of them; what they would write when nothing is refused."""
        from quarantine.actions.rounds import faults_of

        if any(line.failure is not None for line in lines):
            return lines, None
        entries = [line.entered for line in lines if line.entered is not None]
        faults, made = faults_of(session().desk(), entries, by=self.by)
        lines = [line._replace(failure=faults.get(place)) for place, line in enumerate(lines)]
        return lines, None if faults else made

    def _again(self, line: _Line, sheet: Sheet) -> _Line:
        """A line typed again; one without text is left out."""
        assert line.failure is not None
        self.asking.say("", f"Line {line.number}: {line.text!r}")
        self.asking.complain(line.failure)
        while True:
            self.asking.say("Type it again, really if it is so, or - to leave it out.")
            text = self.asking.ask()
            if text == "-":
                return line._replace(text="", failure=None)
            if text:
                return self._read(line.number, f"{line.text} {text}" if text.casefold() == "really" else text, sheet)

    # --- showing and writing -----------------------------------------------------------------------------

    def _shown(self, lines: list[_Line], made: Performed) -> list[str]:
        from quarantine.actions.rounds import UNCOUNTED, in_time
        from quarantine.cli.round import result_lines

        kept = [(line.number, line.entered) for line in lines if line.entered is not None]
        order = in_time([entry for _, entry in kept])
        shown: list[str] = []
        for (number, entry), result in zip([kept[place] for place in order], made.results, strict=True):
            first, *rest = result_lines(entry.item, result)
            clock = f"{_local(entry):%H:%M}"
            shown.append(f"  {number}: {first}" if clock in first else f"  {number}: {clock}, {first}")
            shown += [f"    {line}" for line in rest]
        return [*shown, *([f"  {UNCOUNTED}"] if made.uncounted else [])]

    def _confirmed(self) -> bool:
        while True:
            self.asking.say("Write all of it? y writes, b takes more lines, q stops.")
            key = self.asking.ask().casefold()
            if key in ("y", "yes", "b"):
                return key != "b"

    def _write(self, lines: list[_Line], day: date, typist: str) -> tuple[dict[str, Any], list[str]]:
        from quarantine.actions.rounds import SHEET_KIND, Faulty, in_time, perform
        from quarantine.cli.round import result_lines

        entries = [line.entered for line in lines if line.entered is not None]
        order = in_time(entries)
        try:
            made = perform(
                session().desk(), [entries[place].item for place in order], kind=SHEET_KIND, by=self.by, once=True
            )
        except Faulty as faulty:
            refused = lines[order[faulty.place]].text
            raise Refused(
                f"Nothing of the sheet was written: while it was typed the record changed, and now {refused!r} is "
                f"refused. {faulty.failure.sentence}"
            ) from None
        written = [
            {
                "line": lines[place].text,
                "happened_at": _local(entries[place]),
                "says": result_lines(entries[place].item, result),
            }
            for place, result in zip(order, made.results, strict=True)
        ]
        document = {"day": day, "by": self.by, "entered_by": typist, "lines": written}
        count = "1 line" if len(lines) == 1 else f"{len(lines)} lines"
        return document, [f"{count} of {day} written, done by {self.by}, entered by {typist}."]


def _day_that_was(text: str, option: str) -> date:
    """The typed day of a sheet. Raises Usage; Refused for one that has begun nowhere on earth."""
    from datetime import timedelta

    from quarantine.cli.today import read_day

    day = read_day(text, option)
    if day > (now() + timedelta(hours=14)).date():
        raise Refused(f"{option} {day} has not come yet: a sheet is typed in when its day's work is done.")
    return day


def _local(entry: Entered) -> datetime:
    from zoneinfo import ZoneInfo

    return entry.at.astimezone(ZoneInfo(entry.zone))
