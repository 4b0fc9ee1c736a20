"""The command line: read arguments, call an action or a read, render; nothing else."""

from __future__ import annotations


def main() -> None:
    """The entry point of `quarantine` and `qk`."""
    import sys

    from quarantine.cli.app import run

    sys.exit(run(sys.argv[1:]))
