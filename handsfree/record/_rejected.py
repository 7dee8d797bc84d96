"""How work goes on after a supervisor rejected a job. Nothing may follow a signature: the job stays closed."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from typing import Any

from ._wording import last_signed, value_of

__all__ = ["how_to_do_again"]


def how_to_do_again(rows: Sequence[Mapping[str, Any]]) -> str:
    """What to do, with the command, where the last decision is a rejection; "" where it is not.

    ``rows``: a record's lines, in order.
    """
    last = last_signed(rows)
    if last is None or value_of(last, "decision") != "reject":
        return ""
    procedure = value_of(rows[0], "procedure")
    command = f"handsfree run --procedure {shlex.quote(procedure)}" if procedure else "handsfree run"
    return f"a rejected job stays closed; do the work again as a new job, by the same work order: {command}"
