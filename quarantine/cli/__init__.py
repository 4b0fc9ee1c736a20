"""The command line: read arguments, call an action or a read, render; nothing else."""

from __future__ import annotations


def main() -> None:
    """The entry point of `quarantine` and `qk`."""
    import gc
    import os
    import sys

    # A command lives for a moment: collecting while it imports costs a tenth of its start.
    gc.set_threshold(50_000, 20, 20)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # the caller closed it: what would go there is shown to nobody
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - as long as the process
    from quarantine.cli.app import run

    sys.exit(run(sys.argv[1:]))
