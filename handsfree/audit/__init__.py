"""The audit room: is a job's record whole, and does it say what the procedure, the limits and the clock say?

It stands above the session: it reads what a session wrote and goes through it once more, with the same machine
and the same rules, and with checks of its own that trust neither.
"""

from handsfree.audit._audit import audit
from handsfree.audit._folder import doubled, folder_text, missing_jobs, without_record
from handsfree.audit._listen import Listener
from handsfree.audit._report import FolderReport, Report, as_json, as_text

__all__ = [
    "FolderReport",
    "Listener",
    "Report",
    "as_json",
    "as_text",
    "audit",
    "doubled",
    "folder_text",
    "missing_jobs",
    "without_record",
]
