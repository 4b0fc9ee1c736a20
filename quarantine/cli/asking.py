"""Questions and typed answers, a line each: at a terminal, or from a pipe."""

from __future__ import annotations

import sys

from quarantine.cli import out
from quarantine.cli.session import session
from quarantine.failures import Failure, Refused

_TYPED = (
    ("--really", "really"),
    ("--gave AMOUNT, or --as-shown", "the amount, or as shown"),
    ("--gave LITRES, or --as-shown", "the litres, or as shown"),
    ("--gave", "the amount"),
    ("--at", "the time"),
    (', for another one say how urgent it is: --sign "', ', for another one say how urgent it is: s "'),
)
"""Options of the single commands, and what is typed here in their place."""


class Stopped(Exception):
    """The keeper typed q; or the input has ended."""

    def __init__(self, ended: bool) -> None:
        super().__init__("ended" if ended else "q")
        self.ended = ended


class Asking:
    """A talk with the keeper. With --json it goes to standard error: standard output is for the document."""

    def __init__(self) -> None:
        self._stream = sys.stderr if session().as_json else sys.stdout
        self._piped = sys.stdin is None or not sys.stdin.isatty()

    def say(self, *lines: str) -> None:
        """Lines to be read, folded at the terminal's width; a line brings its own indent."""
        for line in lines:
            out.say_indented(line, self._stream)

    def complain(self, failure: Failure) -> None:
        """Why something typed is not taken, in the words that are typed here."""
        sentence = failure.sentence
        for option, typed in _TYPED:
            sentence = sentence.replace(option, typed)
        self.say(sentence, *failure.lines)

    def ask(self, prompt: str = "> ") -> str:
        """A typed line, blanks tidied. Raises Stopped at q and at the end of the input."""
        while True:
            self._prompt(prompt)
            line = self._line()
            if line is not None and self._piped:
                out.write(line.rstrip("\r\n"), self._stream)  # a pipe shows nothing of what was typed
            if line is None:
                self._stream.write("\n")
                raise Stopped(ended=True)
            text = " ".join(line.split())
            if text.casefold() == "q":
                raise Stopped(ended=False)
            if text.isprintable():
                return text
            self.say("That line holds something that is no letter, digit or sign; type it again.")

    def _prompt(self, prompt: str) -> None:
        """What was said so far and the prompt, put before the keeper. Without a reader there is nobody to ask."""
        try:
            self._stream.write(prompt)
            self._stream.flush()
        except OSError:
            raise Refused(
                "Nobody can read the questions: standard output is closed or full. What was not confirmed was not "
                "written."
            ) from None

    def _line(self) -> str | None:
        """The next line; None at the end. What is no text becomes a mark that is refused."""
        if sys.stdin is None:
            return None
        try:
            return sys.stdin.readline() or None
        except UnicodeDecodeError:
            return "\x00"
