"""Where a batch came from and went (needs F68). Reads only; light: `batch show` loads it."""

from __future__ import annotations

import json

from quarantine.actions.desk import local_text
from quarantine.luggage import COPIED, MERGED
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows


def lineage_of(rows: Rows, batch: Row) -> list[str]:
    """The moves, partings and mergers of a batch, oldest first, a line each."""
    zone = batch["zone"]
    names = {b["id"]: b["name"] for b in rows.rows("batches")}
    found = rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    lines = []
    for row in sorted(found, key=lambda r: (r["happened_at"], r["entered_at"], r["id"])):
        if row["batch"] != batch["id"]:
            continue
        data, at = json.loads(row["data"]), local_text(instant(row["happened_at"]), zone)
        if row["kind"] == "arrival" and COPIED in data:
            parent = rows.rows("fact", id=data[COPIED])
            lines.append(f"parted from batch {names[parent[0]['batch']]}" if parent else "parted from another batch")
        elif COPIED in data and row["kind"] != "moved_in":
            continue
        elif row["kind"] == "moved_in":
            lines.append(f"{at}: from {data['from']} to {data['to']}")
        elif row["kind"] == "moved" and "to_batch" in data:
            lines.append(f"{at}: {data['count']} fish are counted in batch {data['to_batch']}")
        elif row["kind"] == MERGED:
            lines.append(f"{at}: {data['count']} fish of batch {data['from']} came to it")
    return lines
