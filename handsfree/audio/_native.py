"""What C libraries write on standard error while a sound device vanishes."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["native_messages_hidden"]


@contextmanager
def native_messages_hidden() -> Iterator[None]:
    """Let PortAudio and ALSA write to nowhere; what Python writes to ``sys.stderr`` comes out as before.

    They print a dozen lines of their source code when a device vanishes, from threads of their own (so a redirection
    around our calls would miss them), and Debian's build has no switch for it. So file descriptor 2 points to nothing
    meanwhile, and ``sys.stderr`` gets a copy of the old one. Their errors still reach us as exceptions. A dump of the
    interpreter's own crash is lost too, and ``HANDSFREE_NATIVE_MESSAGES=1`` in the environment leaves all as it is.
    Does nothing where ``sys.stderr`` is not file descriptor 2 (a test's, or another program's that embeds us).
    """
    ours = sys.stderr
    try:
        ours.flush()
        usual = ours.fileno() == 2 and not os.environ.get("HANDSFREE_NATIVE_MESSAGES")
    except (AttributeError, OSError, ValueError):
        usual = False
    if not usual:
        yield
        return
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    copy = os.fdopen(kept, "w", buffering=1, encoding=ours.encoding, errors=ours.errors, closefd=False)
    os.dup2(nowhere, 2)
    os.close(nowhere)
    sys.stderr = copy
    try:
        yield
    finally:
        copy.flush()
        os.dup2(kept, 2)
        os.close(kept)
        sys.stderr = ours
