"""What the tests of the record let other processes do. Each job says "ready" and waits for its first line."""

from __future__ import annotations

import resource
import sys

from fishroom import desk

from quarantine.actions import noting, work
from quarantine.failures import Refused
from quarantine.records.store import open_store


def tick(url: str, keeper: str) -> None:
    """Tick each task whose code comes in; say how it went."""
    for line in sys.stdin:
        try:
            work.done(desk(url, 1, keeper=keeper), [line.strip()])
            print("won", flush=True)
        except Refused as error:
            print(error.sentence, flush=True)


def write(url: str, writer: str, most: str) -> None:
    """Write numbered notes as fast as it goes; say each number once it is written."""
    sys.stdin.readline()
    for number in range(int(most)):
        noting.event(desk(url, 1), "note", "Q1", {"writer": writer, "number": number})
        print(number, flush=True)


def make(url: str) -> None:
    """Make the record."""
    sys.stdin.readline()
    open_store(url).close()
    print("made", flush=True)


def fill(url: str, size: str) -> None:
    """Write until no file may grow any more; say the sentence that ends it."""
    sys.stdin.readline()
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(size), int(size)))
    number = 0
    try:
        while True:
            noting.event(desk(url, 1), "note", "Q1", {"writer": "filler", "number": number})
            number += 1
    except Refused as error:
        print(number, flush=True)
        print(error.sentence, flush=True)


print("ready", flush=True)
{"tick": tick, "write": write, "make": make, "fill": fill}[sys.argv[1]](*sys.argv[2:])
