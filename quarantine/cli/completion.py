"""Names completed by the shell: of commands and options, and of what is on record. Kept light: no planner, no ORM.

`quarantine completion bash` prints a script for the shell. At each Tab that script runs `quarantine completion
names -- WORD ...` with what was typed so far, the last word unfinished; the answer is one name a line.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli import app, out
from quarantine.cli.session import now, session, use
from quarantine.failures import Failure, Unknown

if TYPE_CHECKING:
    from typer._click.core import Command, Parameter

    from quarantine.records.reads import Row, Rows

# bash cuts a word at "=", keeps an opening quote in it, and takes answers as they are to be typed.
BASH = r"""# Names for quarantine and qk in bash: put this line into ~/.bashrc
#   eval "$(quarantine completion bash)"
_quarantine() {
    local name current="${COMP_WORDS[COMP_CWORD]}"
    COMPREPLY=()
    while IFS= read -r name; do
        case "$current" in
            \"* | \'*) COMPREPLY+=("$name") ;;
            *) COMPREPLY+=("$(printf %q "$name")") ;;
        esac
    done < <("${COMP_WORDS[0]/#\~/$HOME}" completion names -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null)
}
complete -o default -F _quarantine quarantine qk"""

ZSH = r"""# Names for quarantine and qk in zsh (untried; written from its manual): line for ~/.zshrc, after compinit
#   eval "$(quarantine completion zsh)"
_quarantine() {
    local -a names
    names=(${(f)"$("${(Q)words[1]/#\~/$HOME}" completion names -- "${(@Q)words[2,CURRENT]}" 2>/dev/null)"})
    if (( ${#names} )); then compadd -U -a names; else _files; fi
}
compdef _quarantine quarantine qk"""

FISH = r"""# Names for quarantine and qk in fish (untried; written from its manual): put this line into config.fish
#   quarantine completion fish | source
function __quarantine_names
    set -l before (commandline -opc)
    set -l current (commandline -ct)
    set -l names ($before[1] completion names -- $before[2..-1] "$current" 2>/dev/null)
    if count $names >/dev/null
        printf '%s\n' $names
    else
        __fish_complete_path "$current"
    end
end
complete -c quarantine -f -a '(__quarantine_names)'
complete -c qk -f -a '(__quarantine_names)'"""

SCRIPTS = {"bash": BASH, "zsh": ZSH, "fish": FISH}


def completion(
    shell: Annotated[str, typer.Argument(help="bash, zsh or fish; or names, which their scripts ask.")],
    words: Annotated[list[str] | None, typer.Argument(help="For names: what was typed so far, after --.")] = None,
) -> None:
    if shell == "names":
        asked = session()
        try:
            found = names_for(words or [])
        except Failure:
            found = []  # a shell that asks wants names or nothing
        finally:
            use(asked)
        session().emit({"names": found}, [])
        if not session().as_json:
            for name in found:
                out.write(name)  # never folded
        return
    if shell not in SCRIPTS:
        raise Unknown("completion for", shell, list(SCRIPTS))
    if session().as_json:
        session().emit({"shell": shell, "script": SCRIPTS[shell]}, [])
    else:
        out.write(SCRIPTS[shell])


# --- What could stand there ------------------------------------------------------------------------------

# What a parameter takes, by its name, or by its command and its name.
TAKES = {
    **dict.fromkeys(("tank", "to_tank", "line"), "tank"),
    **dict.fromkeys(("code", "codes"), "code"),
    **dict.fromkeys(("sign", "gone", "formulary find what"), "sign"),
    **{name: name for name in ("batch", "keeper", "product", "protocol", "shape", "site", "substance", "system")},
}


def names_for(words: list[str]) -> list[str]:
    """What the last of ``words`` can become: commands, options, names on record. Raises Failure for a bad home."""
    typed, cut = _whole_words(words or [""])
    *before, current = typed
    if before and before[-1] in app.VALUED:
        return _matching(_names(app.VALUED[before[-1]]), current)
    rest, asked = app.take_globals(before)
    use(asked._replace(home_option=asked.home_option or session().home_option))
    entry: Any = app.COMMANDS
    path: list[str] = []
    while isinstance(entry, dict):
        if not rest:
            return _matching([*entry, *_options([])] if current[:1] == "-" else list(entry), current)
        word = rest.pop(0)
        path.append(word if path else app.SHORT.get(word, word))
        entry = entry.get(path[-1])
    if entry is None:
        return []
    found = _in_command(" ".join(path), app.command(path[-1], entry), rest, current, bool(entry[2]))
    return [name.partition("=")[2] for name in found] if cut else found


def _whole_words(words: list[str]) -> tuple[list[str], bool]:
    """The words without their quotes, what bash cut at "=" joined again; and whether the last was one of those."""
    joined: list[str] = []
    cut = glue = False
    for word in (_plain(word) for word in words):
        cut = word == "=" and bool(joined) and joined[-1][:2] == "--"
        if cut or glue:
            joined[-1] += word
        else:
            joined.append(word)
        cut, glue = cut or glue, cut
    return joined, cut


def _plain(word: str) -> str:
    """A word as the program will get it: an opening quote, also one not closed yet, and backslashes taken away."""
    if word[:1] in ('"', "'"):
        return word[1:].removesuffix(word[0])
    return word.replace("\\", "")


def _in_command(path: str, command: Command, before: list[str], current: str, writes: bool) -> list[str]:
    """What can stand behind the words ``before`` of one command."""
    by_name = {opt: param for param in command.params for opt in param.opts if opt[:1] == "-"}
    arguments = [param for param in command.params if param.param_type_name == "argument"]
    pending: Parameter | None = None
    count = 0
    for word in before:
        if pending is not None:
            pending = None
        elif word[:1] == "-":
            option = by_name.get(word)
            pending = None if option is None or getattr(option, "is_flag", False) else option
        else:
            count += 1
    name, equals, value = current.partition("=")
    if pending is not None:
        return _matching(_values(path, pending), current)
    if equals and name in by_name:
        return [f"{name}={one}" for one in _matching(_values(path, by_name[name]), value)]
    if current[:1] == "-":
        return _matching([*by_name, *_options(["--dry-run"] if writes else [])], current)
    if arguments and (count < len(arguments) or arguments[-1].nargs == -1):
        return _matching(_values(path, arguments[min(count, len(arguments) - 1)]), current)
    return []


def _options(more: list[str]) -> list[str]:
    return [*more, "--as", "--home", "--json", "--help"]


def _matching(names: list[str], current: str) -> list[str]:
    """The names that begin so, capitals aside, each once and in order."""
    return sorted({name for name in names if name.casefold().startswith(current.casefold())}, key=str.casefold)


def _values(path: str, param: Parameter) -> list[str]:
    """What a parameter takes. The argument `name` of a group is a thing of that group, save a new one's."""
    name = str(param.name)
    group, _, last = path.rpartition(" ")
    if name == "name" and last not in ("add", "start"):
        return _names(group)
    return _names(TAKES.get(f"{path} {name}") or TAKES.get(name, ""))


def _names(kind: str) -> list[str]:
    """All names of a kind: those that ship with the program, or those on record."""
    if kind == "protocol":
        from quarantine.templates import shipped

        return list(shipped())
    if kind == "substance":
        from quarantine.formulary import names

        return list(names())
    if kind == "sign":
        from quarantine.signs import SIGNS

        return list(SIGNS)
    if kind == "shape":
        from quarantine.water.volume import SHAPES

        return list(SHAPES)
    if kind not in ON_RECORD:
        return []
    query, column = ON_RECORD[kind]
    with session().reader() as rows:
        return [str(row[column]) for row in query(rows)]


def _open_tasks(rows: Rows) -> list[Row]:
    """What can be ticked by this time tomorrow: who looks ahead a day has its codes too."""
    from quarantine.records.codec import text_of_instant

    return rows.rows("open_tasks", until=text_of_instant(now() + timedelta(days=1)), tank=None)


ON_RECORD: dict[str, tuple[Callable[[Rows], list[Row]], str]] = {
    "tank": (lambda rows: rows.rows("tanks"), "name"),
    "batch": (lambda rows: rows.rows("batches"), "name"),
    "site": (lambda rows: rows.rows("sites"), "name"),
    "keeper": (lambda rows: rows.rows("keepers"), "name"),
    "system": (lambda rows: rows.rows("systems"), "name"),
    "product": (lambda rows: rows.rows("products"), "name"),
    "code": (_open_tasks, "code"),
}
