"""A template of a keeper's own to begin with: commented, sound, and never over a file that is there."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.actions.drafting import draft, new_protocol
from quarantine.cli.app import run
from quarantine.failures import Refused, Unknown, Usage
from quarantine.protocol import GRAMMAR, ProtocolError, load, read, shipped

TODAY = date(2026, 3, 1)


def _text(name: str) -> str:
    return shipped()[name].read_text(encoding="utf-8")


@pytest.mark.parametrize("name", list(shipped()))
def test_a_draft_of_every_template_passes_and_says_the_same_work(name: str) -> None:
    """All but id, revision, author, date and comments is as it ships; the other four are the keeper's."""
    made = tomllib.loads(draft(_text(name), "mine.toml", "mine", 'Robin "R" \\ Sø', TODAY))
    own = {"id": "mine", "revision": 1, "author": 'Robin "R" \\ Sø', "date": TODAY}
    assert made == tomllib.loads(_text(name)) | own
    assert read(draft(_text(name), "mine.toml", "mine", "Robin", TODAY), "mine.toml").id == "mine"


@pytest.mark.parametrize("name", list(shipped()))
def test_every_key_is_explained_once_above_its_first_use(name: str) -> None:
    """A comment for each key that is used, none of them twice, and the rest of each table named as possible."""
    text = draft(_text(name), "mine.toml", "mine", "Robin", TODAY)
    lines = text.splitlines()
    assert lines[0].startswith(f"# A protocol of your own, made from {name}, revision {load(name).revision}.")
    for key in ("format", "cite", "length", "kind", "reads", "outbreak", "clear_days"):
        (at,) = [n for n, line in enumerate(lines) if re.match(rf"# {key} \(", line)]
        used = next(n for n, line in enumerate(lines) if re.search(rf"(?<![\w#]){key} = ", line))
        assert at < used
        assert all(line.startswith("#") for line in lines[at:used])
    possible = re.findall(r"possible in (\w+): ", text)
    assert possible
    assert len(possible) == len(set(possible))
    assert set(possible) <= set(GRAMMAR)
    assert max(len(line) for line in lines if line.startswith("#")) <= 120


def test_what_the_file_does_not_use_is_named() -> None:
    """The watching template has no cautions and no window: both are offered, with their types."""
    text = draft(_text("fresh-watch"), "mine.toml", "mine", "Robin", TODAY)
    assert "possible in protocol: reviewer (text), cautions (list of text)" in text
    assert "window (table window)" in text
    assert "# counts (calendar, drug-free, clear, in-range; required): which days count" in text


def test_the_command_writes_a_file_that_passes_its_check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The id is the file's name, the author who acts, the date today's; the check finds no mistake."""
    file = tmp_path / "spring-fish.toml"
    home = ["--home", str(tmp_path / "home")]
    with freeze_time("2026-03-01 12:00:00"):
        assert run([*home, "protocol", "new", str(file), "--like", "marine-watch", "--as", "Robin"]) == 0
    assert "as protocol spring-fish by Robin" in " ".join(capsys.readouterr().out.split())
    made = load(file)
    assert (made.id, made.revision, made.author, made.date) == ("spring-fish", 1, "Robin", TODAY)
    assert made.steps[0].title == load("marine-watch").steps[0].title
    assert run([*home, "protocol", "check", str(file)]) == 0
    assert not (tmp_path / "home").exists()


def test_a_dry_run_writes_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Everything is checked and said, and nothing is left."""
    file = tmp_path / "mine.toml"
    assert run(["--home", str(tmp_path / "home"), "protocol", "new", str(file), "--dry-run"]) == 0
    assert "nothing was written" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == []


def _new(file: Path, *, like: str = "fresh-watch", author: str = "Robin", dry_run: bool = False) -> None:
    new_protocol(file, like=like, author=author, today=TODAY, dry_run=dry_run)


@pytest.mark.parametrize("dry_run", [False, True])
def test_a_file_that_is_there_is_never_overwritten(tmp_path: Path, dry_run: bool) -> None:
    """Not even by a link that leads nowhere."""
    file = tmp_path / "mine.toml"
    file.write_text("mine", encoding="utf-8")
    link = tmp_path / "link.toml"
    link.symlink_to(tmp_path / "gone")
    for one in (file, link):
        with pytest.raises(Refused, match="is there already and stays as it is"):
            _new(one, dry_run=dry_run)
    assert file.read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "gone").exists()


def test_two_at_once_do_not_overwrite_each_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that appears between the look and the write stays as it is."""
    file = tmp_path / "mine.toml"
    file.write_text("theirs", encoding="utf-8")
    monkeypatch.setattr(Path, "exists", lambda self: False)
    with pytest.raises(Refused, match="is there already"):
        _new(file)
    assert file.read_bytes() == b"theirs"


def test_a_full_disk_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One sentence, and no half a template that somebody might use."""
    file = tmp_path / "mine.toml"
    real = Path.open

    class Full:
        def __init__(self, stream: Any) -> None:
            self.stream = stream

        def __enter__(self) -> Full:
            return self

        def __exit__(self, *_: object) -> None:
            self.stream.close()

        def write(self, text: str) -> int:
            raise OSError(28, "No space left on device")

    def opened(self: Path, mode: str = "r", **more: Any) -> Any:
        stream = real(self, mode, **more)
        return Full(stream) if mode == "x" else stream

    monkeypatch.setattr(Path, "open", opened)
    with pytest.raises(Refused, match="cannot be written: No space left on device; nothing was left there"):
        _new(file)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["mine", "mine.txt", "my fish.toml", "a--b.toml", f"{'a' * 41}.toml", ".toml"])
def test_a_name_that_is_no_id_is_refused(tmp_path: Path, name: str) -> None:
    """The file's name becomes the id, so it follows the rule of ids."""
    with pytest.raises(Usage, match="is no name for a template"):
        _new(tmp_path / name)


def test_the_name_of_a_template_that_ships_is_refused(tmp_path: Path) -> None:
    """Two templates of one name would be taken for two revisions of one."""
    with pytest.raises(Usage, match=r"choose another, such as our-koi-watch\.toml"):
        _new(tmp_path / "koi-watch.toml")


def test_an_unknown_template_names_the_known_ones(tmp_path: Path) -> None:
    """With the nearest right name."""
    with pytest.raises(Unknown, match="Did you mean 'marine-watch'"):
        _new(tmp_path / "mine.toml", like="marine-wach")


@pytest.mark.parametrize("dry_run", [False, True])
def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path, dry_run: bool) -> None:
    """In a dry run too."""
    with pytest.raises(Refused, match="There is no folder"):
        _new(tmp_path / "gone" / "mine.toml", dry_run=dry_run)


def test_an_author_that_no_template_may_hold_writes_nothing(tmp_path: Path) -> None:
    """A name with a control character would fail the check of the file."""
    with pytest.raises(ProtocolError, match="author"):
        _new(tmp_path / "mine.toml", author="Ro\x07bin")
    assert list(tmp_path.iterdir()) == []
